"""Answers that are kept so that a request sent twice has the same one."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class KeptAnswer(Base):
    """What was answered to a request that named a key; kept for a while."""

    __tablename__ = "kept_answers"

    id: Mapped[int] = mapped_column(primary_key=True)
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
    key: Mapped[str] = mapped_column(String(255))
    request_sha256: Mapped[str] = mapped_column(String(64))
    status: Mapped[int]
    answer: Mapped[dict[str, Any]]
    kept_at: Mapped[datetime] = mapped_column(index=True)

    __table_args__ = (UniqueConstraint("user_id", "key"),)
