"""Reading traces."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session, undefer

from beadline.store.tables import Trace


def with_sha256(session: Session, sha256: str) -> Trace | None:
    """Return the trace with this hash, without its content."""
    return session.scalars(select(Trace).where(Trace.sha256 == sha256)).first()


def with_content(session: Session, trace_id: int) -> Trace | None:
    """Return a trace with its content."""
    return session.scalars(select(Trace).where(Trace.id == trace_id).options(undefer(Trace.content))).first()


def ids(session: Session) -> Sequence[int]:
    """Return the numbers of all traces."""
    return session.scalars(select(Trace.id).order_by(Trace.id)).all()
