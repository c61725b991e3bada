"""What is due, for calendar programs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response

from beadline.boundary.deps import Now, Person, ReadSession, SiteSettings, allowed
from beadline.features.calendar import service as calendar
from beadline.features.calendar.schemas import Intervals

router = APIRouter(prefix="/api/v1", tags=["calendar"])
Reader = Annotated[Person, Depends(allowed("see what is due"))]
Token = Annotated[
    str, Query(description="A token made for the calendar; calendar programs send no other credentials.")
]


@router.get("/calendar.ics", response_class=Response)
def calendar_feed(
    session: ReadSession, reader: Reader, settings: SiteSettings, now: Now, token: Token = ""
) -> Response:
    """Send what is due of every bed in use as iCalendar (RFC 5545)."""
    found = calendar.due(session, Intervals.of(settings), at=now.astimezone(settings.zone))
    made = calendar.feed(found, address=settings.address, demo=settings.demo, at=now)
    return Response(made, media_type="text/calendar; charset=utf-8", headers={"Cache-Control": "private"})
