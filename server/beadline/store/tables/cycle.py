"""Cycles: one production use of a bed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.packing import Packing
from beadline.store.tables.reading_profile import ReadingProfile
from beadline.store.tables.trace import Trace
from beadline.store.tables.user import User


class Cycle(Base):
    """A run of the bed, numbered from 1 within its packing."""

    __tablename__ = "cycles"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"))
    number: Mapped[int]
    batch: Mapped[str] = mapped_column(String(60), default="")
    started_at: Mapped[datetime]
    trace_id: Mapped[int] = mapped_column(ForeignKey("traces.id"), index=True)
    signals_sha256: Mapped[str] = mapped_column(String(64), default="", server_default="", index=True)
    profile: Mapped[dict[str, Any]]
    reading_profile_id: Mapped[int | None] = mapped_column(ForeignKey("reading_profiles.id"), index=True)
    conditions: Mapped[dict[str, Any]]
    came_by: Mapped[str] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(Text, default="")
    logged_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
    logged_at: Mapped[datetime]
    voided_at: Mapped[datetime | None]
    voided_by_id: Mapped[int | None] = mapped_column(ForeignKey("users.id"))
    void_reason: Mapped[str] = mapped_column(Text, default="")
    excluded_at: Mapped[datetime | None]
    excluded_by_id: Mapped[int | None] = mapped_column(ForeignKey("users.id"))
    excluded_reason: Mapped[str] = mapped_column(Text, default="", server_default="")

    packing: Mapped[Packing] = relationship(lazy="raise")
    trace: Mapped[Trace] = relationship(lazy="raise")
    reading_profile: Mapped[ReadingProfile | None] = relationship(lazy="raise")
    logged_by: Mapped[User] = relationship(lazy="raise", foreign_keys=[logged_by_id])
    excluded_by: Mapped[User | None] = relationship(lazy="raise", foreign_keys=[excluded_by_id])

    __table_args__ = (
        CheckConstraint("number > 0", name="number_positive"),
        CheckConstraint("came_by in ('page', 'api', 'demo')", name="known_way"),
        CheckConstraint("(voided_at is null) = (void_reason = '')", name="void_has_reason"),
        CheckConstraint("(excluded_at is null) = (excluded_reason = '')", name="exclusion_has_reason"),
        Index("ix_cycles_packing_id_number", "packing_id", "number"),
        Index("ix_cycles_logged_by_id_logged_at", "logged_by_id", "logged_at"),
        Index("ix_cycles_started_at_packing_id", "started_at", "packing_id"),
        Index(
            "uq_cycles_packing_number",
            "packing_id",
            "number",
            unique=True,
            sqlite_where=text("voided_at is null"),
            postgresql_where=text("voided_at is null"),
        ),
        Index(
            "uq_cycles_packing_trace",
            "packing_id",
            "trace_id",
            unique=True,
            sqlite_where=text("voided_at is null"),
            postgresql_where=text("voided_at is null"),
        ),
    )
