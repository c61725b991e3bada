"""Note cleaning and maintenance of a bed; nothing that was noted is changed or deleted."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from sqlalchemy.orm import Session

from beadline.features.bed_events import queries
from beadline.features.bed_events.schemas import OTHER, SENTENCES, EventFacts
from beadline.features.cycles import queries as cycle_queries
from beadline.features.packings import queries as packing_queries
from beadline.features.packings import service as packings
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import BedEvent, Packing, User

CLOCKS_DIFFER = timedelta(minutes=10)
BEFORE_PACKED = timedelta(days=1)


def note(session: Session, packing: Packing, facts: EventFacts, *, by: User, at: datetime) -> BedEvent:
    """Note what was done to a bed.

    Raises
    ------
    Invalid
        If it can't have been then, or there.
    Conflict
        If the same is noted already.
    """
    event = _kept(session, packing, facts, by=by, at=at)
    said = f"Noted of {packing.column.name}, packing {packing.number}: {_said(event)}"
    _record(session, event, "note", said, by=by, at=at)
    return event


def correct(
    session: Session,
    packing: Packing,
    wrong: BedEvent,
    facts: EventFacts,
    *,
    why: str,
    by: User,
    at: datetime,
) -> BedEvent:
    """Put a new row in the place of a wrong one, which stays as voided.

    Raises
    ------
    Invalid
        If a reason is missing, or it can't have been then, or there.
    Conflict
        If the wrong one was voided before, or the same is noted already.
    """
    _strike(wrong, why=why, at=at)
    session.flush()  # what is noted twice is looked for among those that stand
    event = _kept(session, packing, facts, by=by, at=at, replaces=wrong)
    said = f"Corrected an event of {packing.column.name}, packing {packing.number}: {_said(event)}"
    _record(session, event, "correct", f"{said}, instead of {_said(wrong)}", by=by, at=at, why=why)
    return event


def void(session: Session, event: BedEvent, *, why: str, by: User, at: datetime) -> None:
    """Take an event off the bed's timeline; it stays in the record.

    Raises
    ------
    Invalid
        If a reason is missing.
    Conflict
        If it was voided before.
    """
    _strike(event, why=why, at=at)
    _record(session, event, "void", f"Voided an event: {_said(event)}", by=by, at=at, why=why)


def get(session: Session, packing_id: int, event_id: int) -> BedEvent:
    """Return an event of a packing.

    Raises
    ------
    NotFound
        If there is none.
    """
    event = queries.by_id(session, packing_id, event_id)
    if event is None:
        raise NotFound(f"This bed has no event {event_id}.", mend="Open it from the list of its events.")
    return event


def _kept(
    session: Session,
    packing: Packing,
    facts: EventFacts,
    *,
    by: User,
    at: datetime,
    replaces: BedEvent | None = None,
) -> BedEvent:
    packing_queries.lock(session, packing.id)
    _check(session, packing, facts, at)
    event = BedEvent(
        packing_id=packing.id,
        kind=facts.kind,
        happened_at=facts.happened_at,
        after_cycle=facts.after_cycle,
        note=facts.note.strip(),
        replaces_id=replaces.id if replaces else None,
        noted_by_id=by.id,
        noted_at=at,
        void_reason="",
    )
    session.add(event)
    session.flush()  # the record needs its id
    return event


def _check(session: Session, packing: Packing, facts: EventFacts, at: datetime) -> None:
    if facts.kind not in SENTENCES:
        mend = f"Choose one of {', '.join(SENTENCES)}."
        raise Invalid(f"This is not known: {facts.kind!r}.", where="kind", mend=mend)
    if facts.kind == OTHER and not facts.note.strip():
        raise Invalid("What was done is missing.", where="note", mend="Say it in a few words.")
    _check_time(packing, facts.happened_at, at)
    last = cycle_queries.newest_number(session, packing.id)
    if facts.after_cycle is not None and not 0 <= facts.after_cycle <= last:
        mend = "Give the number of a cycle that was logged, 0 if it was before the first, or leave it empty."
        raise Invalid(f"This bed has cycles up to {last}.", where="after_cycle", mend=mend)
    if queries.alike(session, packing.id, facts.kind, facts.happened_at) is not None:
        said = f"“{facts.kind}” is noted at this time already."
        raise Conflict(said, where="happened_at", mend="Look at the timeline.", code="same-event")


def _check_time(packing: Packing, happened_at: datetime, at: datetime) -> None:
    if happened_at > at + CLOCKS_DIFFER:
        said = "This time is still to come."
        raise Invalid(said, where="happened_at", mend="Note it when it is done.")
    if happened_at < packing.packed_at - BEFORE_PACKED:
        said = f"The bed was packed on {packing.packed_at:%Y-%m-%d}, after this."
        raise Invalid(said, where="happened_at", mend="Check the time, and that it is of this bed.")
    if packing.unpacked_at is not None and happened_at > packing.unpacked_at:
        said = f"The bed was unpacked on {packing.unpacked_at:%Y-%m-%d}, before this."
        raise Invalid(said, where="happened_at", mend="Check the time, and that it is of this bed.")


def _strike(event: BedEvent, *, why: str, at: datetime) -> None:
    packings.need_reason(why)
    if event.voided_at is not None:
        raise Conflict("This event was voided before.", mend="Load the page again.")
    event.voided_at, event.void_reason = at, why.strip()


def _said(event: BedEvent) -> str:
    """Name an event as the audit trail does, in UTC."""
    placed = "" if event.after_cycle is None else f", after cycle {event.after_cycle}"
    note = f" ({event.note})" if event.note else ""
    return f"{event.kind} {event.happened_at.astimezone(UTC):%Y-%m-%d %H:%M} UTC{placed}{note}"


def _record(
    session: Session, event: BedEvent, did: str, said: str, *, by: User, at: datetime, why: str = ""
) -> None:
    records.write(
        session, by=by, at=at, did=did, thing="bed event", thing_id=event.id, said=said, why=why.strip()
    )
