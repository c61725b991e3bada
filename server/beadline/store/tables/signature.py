"""Signatures: who stands for what, over exactly which content."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.user import User


class Signature(Base):
    """A person's signature under a campaign review; the password was asked for again.

    `content_sha256` is that of what was signed, `sha256` covers it together with who, when and the meaning.
    """

    __tablename__ = "signatures"

    id: Mapped[int] = mapped_column(primary_key=True)
    review_id: Mapped[int] = mapped_column(ForeignKey("campaign_reviews.id"))
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id"), index=True)
    full_name: Mapped[str] = mapped_column(String(120))
    role: Mapped[str] = mapped_column(String(16))
    meaning: Mapped[str] = mapped_column(String(40))
    signed_at: Mapped[datetime]
    content_sha256: Mapped[str] = mapped_column(String(64))
    sha256: Mapped[str] = mapped_column(String(64))

    user: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (UniqueConstraint("review_id", "user_id"), UniqueConstraint("review_id", "meaning"))
