"""Reading profiles: how one skid's export is read."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class ReadingProfile(Base):
    """What was recognised, or corrected, in a file of one layout; later files of that layout use it."""

    __tablename__ = "reading_profiles"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    version: Mapped[int] = mapped_column(default=1)
    definition: Mapped[dict[str, Any]]
    made_at: Mapped[datetime]
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))

    __table_args__ = (UniqueConstraint("name", "version"),)
