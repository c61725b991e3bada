"""Reading answers that are kept for requests sent twice."""

from __future__ import annotations

from sqlalchemy import select
from sqlalchemy.orm import Session

from beadline.store.tables import KeptAnswer


def kept_answer(session: Session, user_id: int, key: str) -> KeptAnswer | None:
    """Return what was answered to a person's request with this key."""
    query = select(KeptAnswer).where(KeptAnswer.user_id == user_id, KeptAnswer.key == key)
    return session.scalars(query).first()
