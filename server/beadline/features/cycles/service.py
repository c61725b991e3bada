"""Record cycles."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.cycles import queries
from beadline.features.cycles.schemas import CameBy, RunFacts
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import Cycle, Packing, Trace, User


def add(
    session: Session,
    *,
    packing: Packing,
    trace: Trace,
    facts: RunFacts,
    profile: dict[str, Any],
    conditions: dict[str, Any],
    came_by: CameBy,
    by: User,
    at: datetime,
    signals_sha256: str = "",
    reading_profile_id: int | None = None,
) -> Cycle:
    """Record a run of a bed.

    Raises
    ------
    Conflict
        If its cycle number is taken.
    Invalid
        If its number or time can't be right.
    """
    number = queries.newest_number(session, packing.id) + 1 if facts.number is None else facts.number
    check(session, packing, number, facts.started_at, at)
    cycle = Cycle(
        packing_id=packing.id,
        number=number,
        batch=facts.batch.strip()[:60],
        started_at=facts.started_at or at,
        trace_id=trace.id,
        signals_sha256=signals_sha256,
        profile=profile,
        reading_profile_id=reading_profile_id,
        conditions=conditions,
        came_by=came_by,
        note=facts.note.strip(),
        logged_by_id=by.id,
        logged_at=at,
        void_reason="",
    )
    session.add(cycle)
    session.flush()  # results and record need its id
    batch = f"batch {cycle.batch}" if cycle.batch else "no batch given"
    said = f"Logged cycle {number} of {packing.column.name}, packing {packing.number}, {batch}"
    after: dict[str, Any] = {"trace_sha256": trace.sha256, "batch": cycle.batch, "came_by": came_by}
    if facts.another_run:
        after["another_run"] = True
    records.write(session, by=by, at=at, did="log", thing="cycle", thing_id=cycle.id, said=said, after=after)
    return cycle


def check(session: Session, packing: Packing, number: int, started_at: datetime | None, at: datetime) -> None:
    """Refuse a cycle number that is taken, and a start that can't be.

    Raises
    ------
    Conflict
        If the number is taken.
    Invalid
        If number or start can't be right.
    """
    if not 1 <= number <= 100_000:
        raise Invalid(
            f"{number} can't be a cycle number.", where="number", mend="Count from 1 within the packing."
        )
    if queries.numbered(session, packing.id, number) is not None:
        said = f"Cycle {number} of this packing is recorded already, from another file."
        mend = "Give the next free number, or have an engineer void the wrong run first."
        raise Conflict(said, where="number", mend=mend, code="number-taken")
    if started_at is None:
        return
    if started_at > at + timedelta(minutes=10):
        raise Invalid(
            f"The run can't have started at {started_at:%Y-%m-%d %H:%M}: that is still to come.",
            where="started_at",
            mend="Give the time at which it started.",
        )
    if started_at < packing.packed_at - timedelta(days=1):
        raise Invalid(
            f"The run can't have started before the bed was packed ({packing.packed_at:%Y-%m-%d}).",
            where="started_at",
            mend="Check the time, and that the column holds this packing.",
        )


def void(session: Session, cycle: Cycle, *, reason: str, by: User, at: datetime) -> None:
    """Take a wrong run out of the statistics; it stays in the record, with its trace.

    Raises
    ------
    Invalid
        If no reason is given.
    Conflict
        If it is voided already.
    """
    why = _reason(reason, mend="Say what is wrong with the run.")
    if cycle.voided_at is not None:
        raise Conflict(f"This run was voided on {cycle.voided_at:%Y-%m-%d}.", mend="Nothing is left to do.")
    cycle.voided_at, cycle.voided_by_id, cycle.void_reason = at, by.id, why
    session.flush()  # the life is judged anew without it
    said = f"Voided cycle {cycle.number}"
    records.write(session, by=by, at=at, did="void", thing="cycle", thing_id=cycle.id, said=said, why=why)


def exclude(session: Session, cycle: Cycle, *, reason: str, by: User, at: datetime) -> None:
    """Leave a cycle out of the statistics: the run was made, but says nothing of the bed.

    Raises
    ------
    Invalid
        If no reason is given.
    Conflict
        If it is voided or excluded already.
    """
    why = _reason(reason, mend="Say why this cycle says nothing of the bed.")
    if cycle.voided_at is not None:
        raise Conflict("This run was voided.", mend="It counts nowhere; nothing is left to do.")
    if cycle.excluded_at is not None:
        raise Conflict(
            f"This cycle was excluded on {cycle.excluded_at:%Y-%m-%d}.", mend="Nothing is left to do."
        )
    cycle.excluded_at, cycle.excluded_by_id, cycle.excluded_reason = at, by.id, why
    session.flush()  # the life is judged anew without it
    said = f"Excluded cycle {cycle.number} from the statistics of its bed"
    records.write(session, by=by, at=at, did="exclude", thing="cycle", thing_id=cycle.id, said=said, why=why)


def count_again(session: Session, cycle: Cycle, *, reason: str, by: User, at: datetime) -> None:
    """Take an excluded cycle back into the statistics.

    Raises
    ------
    Invalid
        If no reason is given.
    Conflict
        If it is not excluded.
    """
    why = _reason(reason, mend="Say why this cycle counts after all.")
    if cycle.excluded_at is None:
        raise Conflict("This cycle is not excluded.", mend="Nothing is left to do.")
    before = {"excluded_at": cycle.excluded_at.isoformat(), "excluded_reason": cycle.excluded_reason}
    cycle.excluded_at, cycle.excluded_by_id, cycle.excluded_reason = None, None, ""
    session.flush()  # the life is judged anew with it
    said = f"Counted cycle {cycle.number} again in the statistics of its bed"
    records.write(
        session,
        by=by,
        at=at,
        did="count again",
        thing="cycle",
        thing_id=cycle.id,
        said=said,
        why=why,
        before=before,
    )


def _reason(reason: str, *, mend: str) -> str:
    if not reason.strip():
        raise Invalid("A reason is missing.", where="reason", mend=mend)
    return reason.strip()


def get(session: Session, cycle_id: int) -> Cycle:
    """Return a cycle.

    Raises
    ------
    NotFound
        If there is none.
    """
    cycle = queries.by_id(session, cycle_id)
    if cycle is None:
        raise NotFound(
            f"There is no cycle with the id {cycle_id}.", where="cycle", mend="Open it from its column."
        )
    return cycle


def newest_logged_by(session: Session, user: User) -> Cycle | None:
    """Return the run that a person logged last."""
    return queries.newest_logged_by(session, user.id)


def used_by_lots(session: Session, lot_ids: Sequence[int]) -> dict[int, int]:
    """Return how many cycles each resin lot has seen, over all its packings."""
    return queries.used_by_lots(session, lot_ids)
