"""Begin a recomputation, go on with one that was stopped, and end it."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.columns import service as columns
from beadline.features.recomputations import queries
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid
from beadline.science import transition as science
from beadline.store.tables import Recomputation, RecomputedBed, User


def begin(session: Session, *, column: str, reason: str, by: User, at: datetime) -> Recomputation:
    """Order the beds of a column (tag or name), or of all columns, to be analysed anew.

    One of the same column and reason that was stopped is gone on with; one that an older method began is
    given up: its beds that are finished stay so, what it had not finished never counts.

    Raises
    ------
    Invalid
        If no reason is given.
    NotFound
        If there is no such column.
    Conflict
        If another recomputation is not at its end, or there is nothing to recompute.
    """
    if not reason.strip():
        mend = "Say why results are computed anew; it stays in the record."
        raise Invalid("A reason is missing.", where="--reason", mend=mend)
    tag = columns.find(session, column).asset_tag if column else ""
    stopped = _go_on(session, column_tag=tag, reason=reason.strip(), by=by, at=at)
    if stopped is not None:
        return stopped
    beds = queries.packings_with_traces(session, tag)
    if not beds:
        raise Conflict("No run or pulse test is logged there, so nothing can be recomputed.", where=column)
    made = Recomputation(
        column_tag=tag,
        reason=reason.strip(),
        method=science.METHOD,
        method_version=science.VERSION,
        started_at=at,
        started_by_id=by.id,
        started_by=by,
    )
    session.add(made)
    session.flush()  # its beds name it
    session.add_all([RecomputedBed(recomputation_id=made.id, packing_id=one.id, report={}) for one in beds])
    _record(session, made, "Began", by=by, at=at)
    return made


def beds_of(session: Session, column: str) -> list[tuple[str, int]]:
    """Return asset tag and packing of every bed with runs, of one column (tag or name) or of all."""
    tag = columns.find(session, column).asset_tag if column else ""
    return [(one.column.asset_tag, one.id) for one in queries.packings_with_traces(session, tag)]


def _go_on(session: Session, *, column_tag: str, reason: str, by: User, at: datetime) -> Recomputation | None:
    """Return the recomputation that was stopped, if it is the one that is asked for.

    Raises
    ------
    Conflict
        If it is another one.
    """
    found = queries.running(session)
    if found is None:
        return None
    if (found.method, found.method_version) != (science.METHOD, science.VERSION):
        _end(session, found, "given up", by=by, at=at)
        return None
    if (found.column_tag, found.reason) == (column_tag, reason):
        return found
    what = f"--column {found.column_tag}" if found.column_tag else "--all"
    raise Conflict(
        f"Recomputation {found.id}, begun by {found.started_by.full_name}, is not at its end.",
        mend=f'Let it finish first: beadline recompute {what} --reason "{found.reason}"',
        code="not-at-its-end",
    )


def next_bed(session: Session, recomputation_id: int) -> int | None:
    """Return a bed whose new results do not count yet and that no other process works on, and hold it.

    It is held until the transaction ends. SQLite holds nothing: a second process there does work twice, but
    what it did is kept once.
    """
    open_beds = queries.open_packings(session, recomputation_id)
    found = next((one for one in open_beds if queries.hold(session, one)), None)
    if not queries.can_hold(session):
        session.rollback()  # a reader that stays would keep the log from being cleared
    return found


def end_if_done(session: Session, recomputation_id: int, *, by: User, at: datetime) -> bool:
    """End a recomputation if every bed of it is finished; return whether it is at its end."""
    found = queries.locked(session, recomputation_id)
    if queries.open_packings(session, recomputation_id):
        return False
    if found.state == "running":
        _end(session, found, "finished", by=by, at=at)
    return True


def _end(session: Session, one: Recomputation, state: str, *, by: User, at: datetime) -> None:
    one.state, one.ended_at = state, at
    session.flush()  # another one may begin in this transaction
    _record(session, one, state.capitalize(), by=by, at=at)


def _record(session: Session, one: Recomputation, did: str, *, by: User, at: datetime) -> None:
    what = f"column {one.column_tag}" if one.column_tag else "all columns"
    said = f"{did} recomputation {one.id} of {what}, by {one.method} {one.method_version}"
    records.write(
        session,
        by=by,
        at=at,
        did="recompute",
        thing="recomputation",
        thing_id=one.id,
        said=said,
        why=one.reason,
    )
