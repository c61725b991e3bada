"""Reading events of beds."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from beadline.store.tables import BedEvent


def of_packing(session: Session, packing_id: int, *, with_voided: bool = False) -> Sequence[BedEvent]:
    """Return a packing's events, oldest first; those that were voided only if so asked."""
    query = select(BedEvent).where(BedEvent.packing_id == packing_id)
    if not with_voided:
        query = query.where(BedEvent.voided_at.is_(None))
    query = query.order_by(BedEvent.happened_at, BedEvent.id)
    return session.scalars(query.options(joinedload(BedEvent.noted_by))).all()


def by_id(session: Session, packing_id: int, event_id: int) -> BedEvent | None:
    """Return an event of a packing."""
    query = select(BedEvent).where(BedEvent.packing_id == packing_id, BedEvent.id == event_id)
    return session.scalars(query.options(joinedload(BedEvent.noted_by))).first()


def alike(session: Session, packing_id: int, kind: str, happened_at: datetime) -> BedEvent | None:
    """Return the standing event of this kind that a packing has at this time."""
    query = select(BedEvent).where(BedEvent.packing_id == packing_id, BedEvent.voided_at.is_(None))
    return session.scalars(query.where(BedEvent.kind == kind, BedEvent.happened_at == happened_at)).first()
