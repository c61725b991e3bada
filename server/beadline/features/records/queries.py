"""Reading the audit trail."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sqlalchemy import Select, func, select, text
from sqlalchemy.orm import Session

from beadline.features.records.schemas import Choice
from beadline.store.tables import Record, User

LOCK = 7_305_118  # any fixed number: the one lock under which records are numbered


def last(session: Session) -> tuple[int, str] | None:
    """Return the newest record's id and hash, holding off every other writer until this transaction ends."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(text("select pg_advisory_xact_lock(:lock)"), {"lock": LOCK})
    row = session.execute(select(Record.id, Record.sha256).order_by(Record.id.desc()).limit(1)).first()
    return (row[0], row[1]) if row else None


def in_order(session: Session) -> Iterator[Record]:
    """Yield every record from the first on, without holding them all."""
    return iter(session.scalars(select(Record).order_by(Record.id).execution_options(yield_per=1000)))


def _chosen(query: Select[Any], choice: Choice) -> Select[Any]:
    if choice.user_name:
        query = query.where(Record.user_name == choice.user_name)
    if choice.thing:
        query = query.where(Record.thing == choice.thing)
    if choice.since is not None:
        query = query.where(Record.at >= choice.since)
    if choice.until is not None:
        query = query.where(Record.at < choice.until)
    return query


def newest(session: Session, choice: Choice, *, limit: int, offset: int = 0) -> Sequence[Record]:
    """Return a page of the records that were chosen, newest first."""
    query = _chosen(select(Record), choice).order_by(Record.id.desc())
    return session.scalars(query.limit(limit).offset(offset)).all()


def chosen_in_order(session: Session, choice: Choice) -> Iterator[Record]:
    """Yield the records that were chosen from the first on, without holding them all."""
    query = _chosen(select(Record), choice).order_by(Record.id)
    return iter(session.scalars(query.execution_options(yield_per=1000)))


def count(session: Session, choice: Choice) -> int:
    """Return how many records were chosen."""
    return int(session.scalars(_chosen(select(func.count()).select_from(Record), choice)).one())


def user_names(session: Session) -> Sequence[str]:
    """Return the names of all who may have done something."""
    return session.scalars(select(User.name).order_by(User.name)).all()


def things(session: Session) -> Sequence[str]:
    """Return the kinds of things to which something was done, each found by a step in the index."""
    first = select(func.min(Record.thing).label("thing")).cte("kinds", recursive=True)
    following = select(func.min(Record.thing)).where(Record.thing > first.c.thing).scalar_subquery()
    kinds = first.union_all(select(following).where(first.c.thing.is_not(None)))
    return session.scalars(select(kinds.c.thing).where(kinds.c.thing.is_not(None))).all()


def newest_id(session: Session) -> int:
    """Return the newest record's number, 0 if there is none; other writers are not held off."""
    return session.scalars(select(func.max(Record.id))).one() or 0


def about(session: Session, things: Sequence[str], *, after: int, limit: int) -> Sequence[Record]:
    """Return the newest records about some kinds of thing, newest first."""
    query = select(Record).where(Record.id > after, Record.thing.in_(things))
    return session.scalars(query.order_by(Record.id.desc()).limit(limit)).all()


def of_thing(session: Session, thing: str, thing_id: int) -> Sequence[Record]:
    """Return the records about one thing, oldest first."""
    query = select(Record).where(Record.thing == thing, Record.thing_id == thing_id)
    return session.scalars(query.order_by(Record.id)).all()
