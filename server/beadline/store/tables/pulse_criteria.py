"""Criteria of pulse tests: how the site reads and judges them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.user import User


class PulseCriteria(Base):
    """A version of the site's acceptance limits and of what is read from the peak; the newest holds."""

    __tablename__ = "pulse_criteria"

    id: Mapped[int] = mapped_column(primary_key=True)
    version: Mapped[int] = mapped_column(unique=True)
    criteria: Mapped[dict[str, Any]]
    settings: Mapped[dict[str, Any]]
    reason: Mapped[str] = mapped_column(Text)
    made_at: Mapped[datetime]
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))

    made_by: Mapped[User] = relationship(lazy="raise")
