"""Which checks of a campaign review the site makes."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.user import User


class ReviewChecks(Base):
    """A choice of the site: the checks that it leaves out from now on, and why; the newest counts."""

    __tablename__ = "review_checks"

    id: Mapped[int] = mapped_column(primary_key=True)
    left_out: Mapped[list[Any]]
    reason: Mapped[str] = mapped_column(Text)
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"), index=True)
    made_at: Mapped[datetime]

    made_by: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (CheckConstraint("reason <> ''", name="has_reason"),)
