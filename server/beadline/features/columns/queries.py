"""Reading columns."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import ColumnElement, func, or_, select
from sqlalchemy.orm import Session

from beadline.store.tables import Column


def is_known_as(tag_or_name: str) -> ColumnElement[bool]:
    """The condition that a column has this asset tag or name, whatever its letters' case."""
    wanted = tag_or_name.strip().lower()
    return or_(func.lower(Column.asset_tag) == wanted, func.lower(Column.name) == wanted)


def known_as(session: Session, tag_or_name: str) -> Column | None:
    """Return the column with this asset tag or name, whatever its letters' case."""
    return session.scalars(select(Column).where(is_known_as(tag_or_name)).limit(1)).first()


def every(session: Session) -> Sequence[Column]:
    """Return all columns by name."""
    return session.scalars(select(Column).order_by(Column.name)).all()
