"""The audit trail."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Index, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class Record(Base):
    """Who did what to which thing, when and why; rows are only ever added.

    Each row's hash covers its content and the hash of the row before it, so that a row which was
    altered or taken away is found.
    """

    __tablename__ = "records"

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    at: Mapped[datetime] = mapped_column(index=True)
    user_id: Mapped[int | None] = mapped_column(ForeignKey("users.id"), index=True)
    user_name: Mapped[str] = mapped_column(String(64))
    did: Mapped[str] = mapped_column(String(40))
    thing: Mapped[str] = mapped_column(String(40))
    thing_id: Mapped[int | None]
    said: Mapped[str] = mapped_column(Text)
    why: Mapped[str] = mapped_column(Text, default="")
    before: Mapped[dict[str, Any] | None]
    after: Mapped[dict[str, Any] | None]
    previous_sha256: Mapped[str] = mapped_column(String(64), unique=True)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)

    __table_args__ = (Index("ix_records_thing_thing_id", "thing", "thing_id"),)
