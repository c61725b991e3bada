"""Events of a bed, for programs: what a cleaning skid or a maintenance system knows of."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Path
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Session, Viewer, WriteSession, allowed
from beadline.features.bed_events import queries
from beadline.features.bed_events import service as bed_events
from beadline.features.bed_events.schemas import EventFacts, Family, Kind, Placed
from beadline.features.cycles import queries as cycle_queries
from beadline.features.packings import service as packings

router = APIRouter(prefix="/api/v1/packings", tags=["events of a bed"])
Logger = Annotated[Person, Depends(allowed("log a run"))]
Engineer = Annotated[Person, Depends(allowed("correct runs"))]
PackingId = Annotated[int, Path(ge=1, le=2**31 - 1, description="Id of the packing.")]


class NewEvent(BaseModel):
    """What was done to a bed."""

    model_config = ConfigDict(extra="forbid")

    kind: Kind
    happened_at: AwareDatetime = Field(description="With a zone; kept in UTC.")
    after_cycle: int | None = Field(
        default=None,
        ge=0,
        le=100_000,
        description="Where the time does not tell: the cycle before it, 0 before the first.",
    )
    note: str = Field(default="", max_length=2000, description="Needed for other work.")


class Correction(BaseModel):
    """What a wrong event should have said, or null to void it alone; and why."""

    model_config = ConfigDict(extra="forbid")

    event: NewEvent | None = None
    reason: str = Field(description="Needed; it stays in the record.")


class BedEvent(BaseModel):
    """A cleaning or a piece of work; what was voided is marked, and stays."""

    id: int
    kind: str
    family: Family
    happened_at: datetime
    after_cycle: int = Field(description="As noted, else by the time; 0 before the first cycle.")
    note: str
    noted_by: str
    noted_at: datetime
    voided: bool
    void_reason: str
    replaces: int | None = Field(description="Id of the voided event in whose place this one stands.")


@router.get("/{packing_id}/events")
def list_events(session: ReadSession, viewer: Viewer, packing_id: PackingId) -> list[BedEvent]:
    """List what was done to a bed, oldest first, with what was voided."""
    packing = packings.get(session, packing_id)
    found = queries.of_packing(session, packing.id, with_voided=True)
    starts = cycle_queries.starts(session, packing.id)
    return [_line(one) for one in bed_events.placed(found, starts)]


@router.post("/{packing_id}/events", status_code=201)
def note_event(
    session: WriteSession, logger: Logger, now: Now, packing_id: PackingId, event: NewEvent
) -> BedEvent:
    """Note cleaning or maintenance of a bed; the same kind at the same time is taken once."""
    packing = packings.get(session, packing_id)
    facts = EventFacts(**event.model_dump())
    made = bed_events.note(session, packing, facts, by=logger.user, at=now)
    return _one(session, packing.id, made.id)


@router.post("/{packing_id}/events/{event_id}/correct")
def correct_event(
    session: WriteSession,
    engineer: Engineer,
    now: Now,
    packing_id: PackingId,
    event_id: int,
    said: Correction,
) -> BedEvent:
    """Void a wrong event and give the one in its place, or the voided one if none is put there."""
    packing = packings.get(session, packing_id)
    wrong = bed_events.get(session, packing.id, event_id)
    if said.event is None:
        bed_events.void(session, wrong, why=said.reason, by=engineer.user, at=now)
        return _one(session, packing.id, wrong.id)
    facts = EventFacts(**said.event.model_dump())
    made = bed_events.correct(session, packing, wrong, facts, why=said.reason, by=engineer.user, at=now)
    return _one(session, packing.id, made.id)


def _one(session: Session, packing_id: int, event_id: int) -> BedEvent:
    kept = bed_events.get(session, packing_id, event_id)
    return _line(bed_events.placed([kept], cycle_queries.starts(session, packing_id))[0])


class Reason(BaseModel):
    """Why something must not count."""

    model_config = ConfigDict(extra="forbid")

    reason: str = Field(max_length=2000, description="Needed; it stays in the record.")


@router.post("/{packing_id}/events/{event_id}/void")
def void_event(
    session: WriteSession,
    engineer: Engineer,
    now: Now,
    packing_id: PackingId,
    event_id: Annotated[int, Path(ge=1, le=2**31 - 1)],
    said: Reason,
) -> BedEvent:
    """Take an event off the bed's timeline; it stays in the record."""
    event = bed_events.get(session, packing_id, event_id)
    bed_events.void(session, event, why=said.reason, by=engineer.user, at=now)
    return _line(bed_events.placed([event], cycle_queries.starts(session, packing_id))[0])


def _line(placed: Placed) -> BedEvent:
    event = placed.event
    return BedEvent(
        id=event.id,
        kind=event.kind,
        family=placed.family,
        happened_at=event.happened_at,
        after_cycle=placed.after_cycle,
        note=event.note,
        noted_by=event.noted_by.name,
        noted_at=event.noted_at,
        voided=event.voided_at is not None,
        void_reason=event.void_reason,
        replaces=event.replaces_id,
    )
