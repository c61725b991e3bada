"""Reading pulse tests."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload, undefer

from beadline.store.tables import EarlierPulseResult, Packing, PulseCriteria, PulseTest, Trace


def of_packing(session: Session, packing_id: int, *, with_voided: bool = False) -> Sequence[PulseTest]:
    """Return the pulse tests of a packing, newest first; those that were voided only if so asked."""
    query = select(PulseTest).where(PulseTest.packing_id == packing_id)
    if not with_voided:
        query = query.where(PulseTest.voided_at.is_(None))
    query = query.options(joinedload(PulseTest.logged_by))
    return session.scalars(query.order_by(PulseTest.performed_at.desc())).all()


def newest_of_packings(session: Session, packing_ids: Sequence[int]) -> dict[int, PulseTest]:
    """Return the newest pulse test of each packing."""
    query = (
        select(PulseTest)
        .where(PulseTest.packing_id.in_(packing_ids), PulseTest.voided_at.is_(None))
        .order_by(PulseTest.performed_at)
    )
    return {test.packing_id: test for test in session.scalars(query)}


def newest_of_column(session: Session, column_id: int) -> PulseTest | None:
    """Return the newest pulse test of any bed that a column held."""
    query = select(PulseTest).join(Packing, Packing.id == PulseTest.packing_id)
    query = query.where(Packing.column_id == column_id, PulseTest.voided_at.is_(None))
    return session.scalars(query.order_by(PulseTest.performed_at.desc()).limit(1)).first()


def by_id(session: Session, test_id: int) -> PulseTest | None:
    """Return a pulse test with its working."""
    query = select(PulseTest).where(PulseTest.id == test_id).options(undefer(PulseTest.working))
    return session.scalars(
        query.options(joinedload(PulseTest.trace), joinedload(PulseTest.logged_by))
    ).first()


def earlier(session: Session, test_id: int) -> Sequence[EarlierPulseResult]:
    """Return the results of a test that no longer count, the newest first, with what replaced them."""
    query = select(EarlierPulseResult).where(EarlierPulseResult.pulse_test_id == test_id)
    query = query.options(joinedload(EarlierPulseResult.recomputation))
    return session.scalars(query.order_by(EarlierPulseResult.id.desc())).all()


def logged_from(session: Session, packing_id: int, sha256: str) -> PulseTest | None:
    """Return the packing's pulse test that was logged from the file with this hash."""
    query = select(PulseTest).join(PulseTest.trace).where(PulseTest.packing_id == packing_id)
    return session.scalars(query.where(Trace.sha256 == sha256, PulseTest.voided_at.is_(None))).first()


def newest_criteria(session: Session) -> PulseCriteria | None:
    """Return the newest version of the site's criteria, with who made it; None if it never chose any."""
    query = select(PulseCriteria).options(joinedload(PulseCriteria.made_by))
    return session.scalars(query.order_by(PulseCriteria.version.desc()).limit(1)).first()
