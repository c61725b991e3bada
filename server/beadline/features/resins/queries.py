"""Reading resins and lots."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session, joinedload

from beadline.store.tables import Resin, ResinLot


def resin_named(session: Session, name: str) -> Resin | None:
    """Return the resin with this name."""
    return session.scalars(select(Resin).where(Resin.name == name.strip())).first()


def lot_numbered(session: Session, lot_number: str) -> ResinLot | None:
    """Return the lot with this number, with its resin."""
    query = (
        select(ResinLot).where(ResinLot.lot_number == lot_number.strip()).options(joinedload(ResinLot.resin))
    )
    return session.scalars(query).first()


def lots(session: Session) -> Sequence[ResinLot]:
    """Return all lots with their resins."""
    return session.scalars(
        select(ResinLot).options(joinedload(ResinLot.resin)).order_by(ResinLot.lot_number)
    ).all()


def resins(session: Session) -> Sequence[Resin]:
    """Return all resins by name."""
    return session.scalars(select(Resin).order_by(Resin.name)).all()
