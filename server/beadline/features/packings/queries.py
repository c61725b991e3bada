"""Reading packings."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, joinedload

from beadline.features.columns import queries as column_queries
from beadline.store.tables import Column, Packing, ResinLot


def _whole() -> Select[Packing]:
    return select(Packing).options(
        joinedload(Packing.column),
        joinedload(Packing.lot).joinedload(ResinLot.resin),
        joinedload(Packing.step_plan),
    )


def by_id(session: Session, packing_id: int) -> Packing | None:
    """Return a packing with column, lot, resin and step plan."""
    return session.scalars(_whole().where(Packing.id == packing_id)).first()


def lock(session: Session, packing_id: int) -> None:
    """Hold off every other transaction that locks this packing until this one ends."""
    session.execute(select(Packing.id).where(Packing.id == packing_id).with_for_update()).one()


def in_use(session: Session, column_id: int) -> Packing | None:
    """Return the column's present packing."""
    return session.scalars(
        _whole().where(Packing.column_id == column_id, Packing.unpacked_at.is_(None))
    ).first()


def in_use_of(session: Session, tag_or_name: str) -> Packing | None:
    """Return the present packing of the column with this asset tag or name."""
    column_id = select(Column.id).where(column_queries.is_known_as(tag_or_name)).limit(1).scalar_subquery()
    return session.scalars(
        _whole().where(Packing.column_id == column_id, Packing.unpacked_at.is_(None))
    ).first()


def of_column(session: Session, column_id: int) -> Sequence[Packing]:
    """Return all packings of a column, newest first."""
    return session.scalars(
        _whole().where(Packing.column_id == column_id).order_by(Packing.number.desc())
    ).all()


def every(session: Session) -> Sequence[Packing]:
    """Return all packings."""
    return session.scalars(_whole()).all()


def of_resin(session: Session, resin_id: int, *, most: int) -> Sequence[Packing]:
    """Return the newest packings of a resin, with their columns."""
    query = select(Packing).join(Packing.lot).where(ResinLot.resin_id == resin_id)
    newest_first = query.order_by(Packing.packed_at.desc(), Packing.id.desc())
    return session.scalars(newest_first.options(joinedload(Packing.column)).limit(most)).all()


def newest_of_every_column(session: Session) -> Sequence[Packing]:
    """Return the newest packing of each column."""
    newest = (
        select(Packing.column_id, func.max(Packing.number).label("number"))
        .group_by(Packing.column_id)
        .subquery()
    )
    query = _whole().join(
        newest, (newest.c.column_id == Packing.column_id) & (newest.c.number == Packing.number)
    )
    return session.scalars(query).all()
