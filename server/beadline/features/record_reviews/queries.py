"""Reading the reviews of the audit trail, which are records themselves."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from beadline.store.tables import Record


def reviews(session: Session) -> Sequence[Record]:
    """Return the records of reviews, newest first."""
    query = select(Record).where(Record.thing == "records", Record.did == "review")
    return session.scalars(query.order_by(Record.id.desc())).all()


def numbered(session: Session, number: int) -> Record | None:
    """Return the record with this number."""
    return session.get(Record, number)
