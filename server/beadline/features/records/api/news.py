"""News of what was recorded, for pages that are open."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator
from contextlib import suppress
from typing import Annotated

from fastapi import APIRouter, Header, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import StreamingResponse

from beadline.boundary.deps import SiteSettings, Viewer
from beadline.features.records import service as records
from beadline.features.records.schemas import News

router = APIRouter(prefix="/api/v1/records", tags=["records"])
LOOK_EVERY_S = 2.0
AGAIN_AFTER_MS = 3000


@router.get(
    "/news",
    response_class=StreamingResponse,
    responses={200: {"content": {"text/event-stream": {}}, "description": "Server-sent events"}},
)
def news(
    request: Request,
    viewer: Viewer,
    settings: SiteSettings,
    last_event_id: Annotated[str, Header(max_length=20)] = "",
    after: Annotated[str, Query(max_length=20)] = "",
) -> StreamingResponse:
    """Tell of runs, alerts, packings and pulse tests as they are recorded, as server-sent events.

    Each event's id is the number of its record; a client that names the last one it had, by `Last-Event-ID`
    or `after`, misses none. The stream ends after a while, so that who may no longer see it is let go,
    and when the server stops; browsers open it again.
    """
    last = last_event_id or after
    known = int(last) if last.isdecimal() else None
    stream = _stream(request, known, until=time.monotonic() + settings.live_seconds)
    headers = {"Cache-Control": "no-store", "X-Accel-Buffering": "no"}
    return StreamingResponse(stream, media_type="text/event-stream", headers=headers)


async def _stream(request: Request, known: int | None, *, until: float) -> AsyncIterator[str]:
    yield f"retry: {AGAIN_AFTER_MS}\n\n"
    latest, found = await run_in_threadpool(_look, request, known)
    while True:
        for one in found:
            yield _event(one)
        yield f"event: here\nid: {latest}\ndata: {latest}\n\n"
        if time.monotonic() + LOOK_EVERY_S > until:
            return
        with suppress(TimeoutError):
            await asyncio.wait_for(request.app.state.stopping.wait(), LOOK_EVERY_S)
            return
        latest, found = await run_in_threadpool(_look, request, latest)


def _look(request: Request, known: int | None) -> tuple[int, list[News]]:
    with request.app.state.new_reading_session() as session:
        return records.news(session, known)


def _event(one: News) -> str:
    content = json.dumps({"thing": one.thing, "said": one.said})
    return f"event: news\nid: {one.record_id}\ndata: {content}\n\n"
