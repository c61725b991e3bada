"""What is due, for programs, those of calendars among them."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends, Query, Response
from pydantic import BaseModel

from beadline.boundary.deps import Now, Person, ReadSession, SiteSettings, allowed
from beadline.features.calendar import service as calendar
from beadline.features.calendar.schemas import Intervals, What

router = APIRouter(prefix="/api/v1", tags=["calendar"])
Reader = Annotated[Person, Depends(allowed("see what is due"))]
Token = Annotated[
    str, Query(description="A token made for the calendar; calendar programs send no other credentials.")
]


class DueLine(BaseModel):
    """One thing that is due; the key stays the same while the day moves."""

    key: str
    what: What
    bed: str
    on: date
    overdue: bool
    reason: str
    address: str
    planned_id: int | None


@router.get("/calendar")
def what_is_due(session: ReadSession, reader: Reader, settings: SiteSettings, now: Now) -> list[DueLine]:
    """List what is due of every bed in use, by day."""
    local = now.astimezone(settings.zone)
    return [
        DueLine(
            key=one.key,
            what=one.what,
            bed=one.bed,
            on=one.on,
            overdue=one.on < local.date(),
            reason=one.reason,
            address=one.href,
            planned_id=one.planned_id,
        )
        for one in calendar.due(session, Intervals.of(settings), at=local)
    ]


@router.get("/calendar.ics", response_class=Response)
def calendar_feed(
    session: ReadSession, reader: Reader, settings: SiteSettings, now: Now, token: Token = ""
) -> Response:
    """Send what is due of every bed in use as iCalendar (RFC 5545)."""
    found = calendar.due(session, Intervals.of(settings), at=now.astimezone(settings.zone))
    made = calendar.feed(found, address=settings.address, demo=settings.demo, at=now)
    return Response(made, media_type="text/calendar; charset=utf-8", headers={"Cache-Control": "private"})
