"""Reading the audit trail."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sqlalchemy import Text, cast, select, text
from sqlalchemy.orm import Session

from beadline.store.tables import Record

LOCK = 7_305_118  # any fixed number: the one lock under which records are numbered


def last(session: Session) -> Record | None:
    """Return the newest record, holding off every other writer until this transaction ends."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("select pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
    return session.scalars(select(Record).order_by(Record.id.desc()).limit(1)).first()


def in_order(session: Session) -> Iterator[Record]:
    """Yield every record from the first on, without holding them all."""
    return iter(session.scalars(select(Record).order_by(Record.id).execution_options(yield_per=1000)))


def newest(
    session: Session,
    *,
    words: str = "",
    who: str = "",
    thing: str = "",
    thing_id: int | None = None,
    limit: int = 200,
    before_id: int | None = None,
) -> Sequence[Record]:
    """Return the newest records that match, newest first."""
    query = select(Record).order_by(Record.id.desc()).limit(limit)
    if words:
        query = query.where(Record.said.ilike(f"%{words}%") | cast(Record.why, Text).ilike(f"%{words}%"))
    if who:
        query = query.where(Record.user_name == who)
    if thing:
        query = query.where(Record.thing == thing)
    if thing_id is not None:
        query = query.where(Record.thing_id == thing_id)
    if before_id is not None:
        query = query.where(Record.id < before_id)
    return session.scalars(query).all()
