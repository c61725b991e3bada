"""Traces: the bytes that came."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base
from beadline.store.types import CompressedBytes


class Trace(Base):
    """A file kept byte for byte as it came, known by its SHA-256."""

    __tablename__ = "traces"

    id: Mapped[int] = mapped_column(primary_key=True)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    filename: Mapped[str] = mapped_column(String(255))
    size_bytes: Mapped[int]
    content: Mapped[bytes] = mapped_column(CompressedBytes, deferred=True)
    received_at: Mapped[datetime]
    received_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
