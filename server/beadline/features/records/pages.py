"""The page Records."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request, Response
from fastapi.responses import StreamingResponse

from beadline.boundary import templates
from beadline.boundary.deps import Now, ReadSession, SiteSettings, Viewer
from beadline.features.records import service as records
from beadline.features.records.schemas import Choice
from beadline.kit import forms, looks
from beadline.store.tables import Record

router = APIRouter(include_in_schema=False)
PER_PAGE = 100


@router.get("/records")
def records_page(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    settings: SiteSettings,
    user_name: str = "",
    thing: str = "",
    since: str = "",
    until: str = "",
    page: int = 1,
    verify: str = "",
) -> Response:
    """Show who did what, when and why."""
    choice = _choice(user_name, thing, since, until, settings.zone)
    page = max(1, page)
    found, many = records.page(session, choice, number=page, per_page=PER_PAGE)
    broken = records.verify(session) if verify else None
    context = {
        "chain": _lede(broken.reason if broken else "", broken.record_id if broken else None)
        if verify
        else None,
        "filters": {"user_name": user_name, "thing": thing, "since": since, "until": until},
        "choices": records.choices(session),
        "page": page,
        "last_page": max(1, math.ceil(many / PER_PAGE)),
        "records": [_line(record) for record in found],
    }
    return templates.render(request, "records/records.html", context)


@router.get("/records.csv")
def export(
    request: Request,
    viewer: Viewer,
    settings: SiteSettings,
    now: Now,
    user_name: str = "",
    thing: str = "",
    since: str = "",
    until: str = "",
) -> Response:
    """Send the chosen records as a table, in UTC and site time, with the hashes that chain them."""
    choice = _choice(user_name, thing, since, until, settings.zone)

    def lines() -> Iterator[str]:
        with request.app.state.new_reading_session() as session:
            yield from records.as_csv(session, choice, zone=settings.zone)

    headers = {"Content-Disposition": f'attachment; filename="records-{now:%Y-%m-%d}.csv"'}
    return StreamingResponse(lines(), media_type="text/csv; charset=utf-8", headers=headers)


def _choice(user_name: str, thing: str, since: str, until: str, zone: ZoneInfo) -> Choice:
    """Read the choice; "until" a day includes that day."""
    end = forms.moment(until, zone, where="until")
    return Choice(
        user_name=user_name,
        thing=thing,
        since=forms.moment(since, zone, where="since"),
        until=end + timedelta(days=1) if end else None,
    )


def _lede(reason: str, record_id: int | None) -> looks.Lede:
    if record_id is None:
        return looks.Lede("The whole chain holds.", "Every record follows from the one before it.", "ok")
    lead = f"The chain breaks at record {record_id}."
    return looks.Lede(lead, f"{reason} Keep the database as it is and tell whoever answers for it.", "act")


def _line(record: Record) -> dict[str, Any]:
    return {
        "id": record.id,
        "at": record.at,
        "utc": f"{record.at:%H:%M:%S} UTC",
        "user_name": record.user_name,
        "said": record.said,
        "why": record.why,
        "sha256": record.sha256,
        "changes": _changes(record.before or {}, record.after or {}),
    }


def _changes(before: dict[str, Any], after: dict[str, Any]) -> list[tuple[str, str, str]]:
    names = [*before, *(name for name in after if name not in before)]
    written = [(name, _text(before.get(name)), _text(after.get(name))) for name in names]
    return [(name, old, new) for name, old, new in written if old != new]


def _text(value: Any) -> str:
    return "" if value is None else f"{value:%Y-%m-%d %H:%M}" if isinstance(value, datetime) else str(value)
