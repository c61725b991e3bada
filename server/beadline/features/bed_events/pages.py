"""The page Events of a bed: what was done to it, noted and corrected."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    SiteSettings,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.bed_events import queries
from beadline.features.bed_events import service as bed_events
from beadline.features.bed_events.schemas import CHOICES, EventFacts
from beadline.features.cycles import queries as cycle_queries
from beadline.features.packings import service as packings
from beadline.kit import forms
from beadline.kit.errors import Invalid, Refusal
from beadline.store.tables import BedEvent, Packing

router = APIRouter(include_in_schema=False)
Logger = Annotated[Person, Depends(allowed("log a run"))]
Engineer = Annotated[Person, Depends(allowed("correct runs"))]


@router.get("/packings/{packing_id}/events")
def events_page(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    settings: SiteSettings,
    packing_id: int,
    correct: int | None = None,
) -> Response:
    """Show what was done to a bed, with what was voided."""
    packing = packings.get(session, packing_id)
    wrong = None if correct is None else bed_events.get(session, packing.id, correct)
    filled = {} if wrong is None else _filled(wrong, settings.zone)
    return _page(request, session, packing, filled, wrong=wrong)


@router.post("/packings/{packing_id}/events", dependencies=[OurForm])
def note(
    request: Request,
    session: WriteSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    packing_id: int,
    posted: Posted,
) -> Response:
    """Note cleaning or maintenance of a bed."""
    packing = packings.get(session, packing_id)
    try:
        with session.begin_nested():
            bed_events.note(session, packing, _facts(posted, settings.zone), by=logger.user, at=now)
    except Refusal as refusal:
        return _page(request, session, packing, posted, refusal=refusal)
    address = f"/columns/{packing.column.asset_tag}?packing={packing.id}#timeline"
    return RedirectResponse(address, status_code=303)


@router.post("/packings/{packing_id}/events/{event_id}/correct", dependencies=[OurForm])
def correct(
    request: Request,
    session: WriteSession,
    engineer: Engineer,
    settings: SiteSettings,
    now: Now,
    packing_id: int,
    event_id: int,
    posted: Posted,
) -> Response:
    """Put a new event in the place of a wrong one, or void it alone."""
    packing = packings.get(session, packing_id)
    wrong = bed_events.get(session, packing.id, event_id)
    why, by = posted.get("reason", ""), engineer.user
    try:
        with session.begin_nested():
            if posted.get("step") == "void":
                bed_events.void(session, wrong, why=why, by=by, at=now)
            else:
                facts = _facts(posted, settings.zone)
                bed_events.correct(session, packing, wrong, facts, why=why, by=by, at=now)
    except Refusal as refusal:
        return _page(request, session, packing, posted, wrong=wrong, refusal=refusal)
    return RedirectResponse(f"/packings/{packing.id}/events", status_code=303)


def _facts(posted: Mapping[str, str], zone: ZoneInfo) -> EventFacts:
    happened_at = forms.moment(posted.get("happened_at", ""), zone, where="happened_at")
    if happened_at is None:
        raise Invalid("The time is missing.", where="happened_at", mend="Say when it was done.")
    return EventFacts(
        kind=posted.get("kind", ""),
        happened_at=happened_at,
        after_cycle=forms.whole(posted.get("after_cycle", ""), where="after_cycle"),
        note=posted.get("note", ""),
    )


def _filled(event: BedEvent, zone: ZoneInfo) -> dict[str, str]:
    return {
        "kind": event.kind,
        "happened_at": f"{event.happened_at.astimezone(zone):%Y-%m-%dT%H:%M}",
        "after_cycle": "" if event.after_cycle is None else str(event.after_cycle),
        "note": event.note,
    }


def _page(
    request: Request,
    session: Session,
    packing: Packing,
    filled: Mapping[str, str],
    *,
    wrong: BedEvent | None = None,
    refusal: Refusal | None = None,
) -> Response:
    found = queries.of_packing(session, packing.id, with_voided=True)
    context = {
        "packing": packing,
        "events": bed_events.placed(found, cycle_queries.starts(session, packing.id)),
        "kinds": CHOICES,
        "filled": filled,
        "wrong": wrong,
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "bed_events/events.html", context, status=status)
