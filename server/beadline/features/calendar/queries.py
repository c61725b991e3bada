"""Counting runs for the calendar, for all beds at once."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from beadline.store.tables import Cycle, PulseTest


def runs_since(session: Session, packing_ids: Sequence[int], since: datetime) -> dict[int, int]:
    """Return how many runs each bed has had since a moment."""
    query = select(Cycle.packing_id, func.count(Cycle.id)).where(
        Cycle.packing_id.in_(packing_ids), Cycle.voided_at.is_(None), Cycle.started_at >= since
    )
    return {row[0]: row[1] for row in session.execute(query.group_by(Cycle.packing_id))}


def runs_since_test(session: Session, packing_ids: Sequence[int]) -> dict[int, int]:
    """Return how many runs each bed has had since its newest pulse test; a bed without one is left out."""
    newest = (
        select(PulseTest.packing_id, func.max(PulseTest.performed_at).label("at"))
        .where(PulseTest.packing_id.in_(packing_ids), PulseTest.voided_at.is_(None))
        .group_by(PulseTest.packing_id)
        .subquery()
    )
    query = (
        select(newest.c.packing_id, func.count(Cycle.id))
        .outerjoin(
            Cycle,
            (Cycle.packing_id == newest.c.packing_id)
            & (Cycle.started_at > newest.c.at)
            & Cycle.voided_at.is_(None),
        )
        .group_by(newest.c.packing_id)
    )
    return {row[0]: row[1] for row in session.execute(query)}
