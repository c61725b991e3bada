"""Reading cycles."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from beadline.features.cycles.schemas import TYPED
from beadline.store.tables import BedState, Cycle, Packing, Trace

FROM_FILE = Cycle.profile["kind"].as_string().is_distinct_from(TYPED)  # not typed by hand


def by_id(session: Session, cycle_id: int) -> Cycle | None:
    """Return a cycle with its trace and who logged it."""
    query = select(Cycle).where(Cycle.id == cycle_id)
    return session.scalars(query.options(joinedload(Cycle.trace), joinedload(Cycle.logged_by))).first()


def newest_logged_by(session: Session, user_id: int) -> Cycle | None:
    """Return the run that a person logged last."""
    query = select(Cycle).where(Cycle.logged_by_id == user_id, Cycle.voided_at.is_(None))
    return session.scalars(query.order_by(Cycle.logged_at.desc(), Cycle.id.desc()).limit(1)).first()


def logged_from(session: Session, packing_id: int, sha256: str) -> Cycle | None:
    """Return the packing's cycle that was logged from the file with this hash."""
    query = select(Cycle).join(Cycle.trace).where(Cycle.packing_id == packing_id, Trace.sha256 == sha256)
    return session.scalars(
        query.where(Cycle.voided_at.is_(None)).options(joinedload(Cycle.logged_by))
    ).first()


def elsewhere(session: Session, packing_id: int, sha256: str) -> Cycle | None:
    """Return a cycle of another packing that was logged from the file with this hash."""
    query = select(Cycle).join(Cycle.trace).where(Cycle.packing_id != packing_id, Trace.sha256 == sha256)
    whole = joinedload(Cycle.packing).joinedload(Packing.column)
    return session.scalars(query.where(Cycle.voided_at.is_(None)).options(whole).limit(1)).first()


def alike(session: Session, signals_sha256: str) -> Sequence[Cycle]:
    """Return the cycles of all packings whose signals have this hash, oldest first."""
    query = select(Cycle).where(Cycle.signals_sha256 == signals_sha256, Cycle.voided_at.is_(None))
    whole = joinedload(Cycle.packing).joinedload(Packing.column)
    return session.scalars(query.options(whole, joinedload(Cycle.trace)).order_by(Cycle.id)).all()


def starts(session: Session, packing_id: int) -> Sequence[tuple[int, datetime]]:
    """Return number and start of each cycle of a packing, by number."""
    query = select(Cycle.number, Cycle.started_at)
    query = query.where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None))
    return [(row[0], row[1]) for row in session.execute(query.order_by(Cycle.number))]


def numbered(session: Session, packing_id: int, number: int) -> Cycle | None:
    """Return the packing's cycle with this number."""
    query = select(Cycle).where(Cycle.packing_id == packing_id, Cycle.number == number)
    return session.scalars(query.where(Cycle.voided_at.is_(None))).first()


def numbered_even_void(session: Session, packing_id: int, number: int) -> Cycle | None:
    """Return the packing's cycle with this number; if there is none, the one that was voided last."""
    query = select(Cycle).where(Cycle.packing_id == packing_id, Cycle.number == number)
    newest_first = (Cycle.voided_at.is_not(None), Cycle.voided_at.desc(), Cycle.id.desc())
    loaded = (joinedload(Cycle.logged_by), joinedload(Cycle.trace))
    return session.scalars(query.options(*loaded).order_by(*newest_first).limit(1)).first()


def page_of_packing(session: Session, packing_id: int, *, limit: int | None, offset: int) -> Sequence[Cycle]:
    """Return some of the packing's cycles in order, or all, with those that were voided."""
    query = select(Cycle).where(Cycle.packing_id == packing_id).order_by(Cycle.number, Cycle.id)
    loaded = (joinedload(Cycle.logged_by), joinedload(Cycle.trace))
    return session.scalars(query.options(*loaded).limit(limit).offset(offset)).all()


def count_of_packing(session: Session, packing_id: int) -> int:
    """Return how many cycles a packing has, with those that were voided."""
    return session.scalars(select(func.count(Cycle.id)).where(Cycle.packing_id == packing_id)).one()


def counts(session: Session) -> dict[int, int]:
    """Return how many cycles each packing has, with those that were voided."""
    query = select(Cycle.packing_id, func.count(Cycle.id)).group_by(Cycle.packing_id)
    return {row[0]: row[1] for row in session.execute(query)}


def of_packing(session: Session, packing_id: int, *, only: Sequence[int] | None = None) -> Sequence[Cycle]:
    """Return the packing's cycles in order, without those that were voided; some by number if so asked."""
    query = select(Cycle).where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None))
    loaded = (joinedload(Cycle.logged_by), joinedload(Cycle.trace), joinedload(Cycle.excluded_by))
    if only is not None:
        query = query.where(Cycle.number.in_(only))
    return session.scalars(query.options(*loaded).order_by(Cycle.number)).all()


def newest_number(session: Session, packing_id: int) -> int:
    """Return the highest cycle number of a packing, 0 if it has none."""
    query = select(func.max(Cycle.number)).where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None))
    return session.scalars(query).one() or 0


def last_read(session: Session, packing_id: int) -> Cycle | None:
    """Return the newest run of a packing that was read from a file."""
    query = select(Cycle).where(Cycle.packing_id == packing_id, Cycle.voided_at.is_(None), FROM_FILE)
    return session.scalars(query.order_by(Cycle.number.desc()).limit(1)).first()


def used_by_lots(session: Session, lot_ids: Sequence[int]) -> dict[int, int]:
    """Return how many cycles each resin lot has seen, over all its packings."""
    query = (
        select(Packing.lot_id, func.sum(BedState.cycles))
        .join(BedState, BedState.packing_id == Packing.id)
        .where(Packing.lot_id.in_(lot_ids))
        .group_by(Packing.lot_id)
    )
    return {row[0]: row[1] for row in session.execute(query)}
