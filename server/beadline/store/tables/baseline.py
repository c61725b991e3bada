"""Baselines: what is normal for a packing, and how it is watched."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.user import User


class Baseline(Base):
    """A version of the settings by which a packing's cycles are judged.

    Who made it may have signed it: the hash then covers all that the version says.
    """

    __tablename__ = "baselines"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"))
    version: Mapped[int] = mapped_column(default=1)
    settings: Mapped[dict[str, Any]]
    made_at: Mapped[datetime]
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
    reason: Mapped[str] = mapped_column(Text, default="")
    signed_at: Mapped[datetime | None]
    signed_sha256: Mapped[str | None] = mapped_column(String(64))

    made_by: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (
        UniqueConstraint("packing_id", "version"),
        CheckConstraint("(signed_at is null) = (signed_sha256 is null)", name="signature_has_hash"),
    )
