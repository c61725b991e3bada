"""Reading profiles: how one skid's export is read."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.user import User


class ReadingProfile(Base):
    """What was recognised, or corrected, in a file of one layout; later files of that layout use it.

    A version is never changed; `layout_sha256` is that of the profile, by which a file finds it.
    """

    __tablename__ = "reading_profiles"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    version: Mapped[int] = mapped_column(default=1)
    layout_sha256: Mapped[str] = mapped_column(String(64), default="", server_default="", index=True)
    definition: Mapped[dict[str, Any]]
    why: Mapped[str] = mapped_column(Text, default="", server_default="")
    made_at: Mapped[datetime]
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))

    made_by: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (UniqueConstraint("name", "version"),)
