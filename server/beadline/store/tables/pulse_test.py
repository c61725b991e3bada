"""Pulse tests: what qualified the bed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.trace import Trace
from beadline.store.tables.user import User


class PulseTest(Base):
    """A tracer injection on the packed bed, with what was computed and how it was judged."""

    __tablename__ = "pulse_tests"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"), index=True)
    performed_at: Mapped[datetime]
    tracer: Mapped[str] = mapped_column(String(80), default="")
    injection_ml: Mapped[float]
    trace_id: Mapped[int] = mapped_column(ForeignKey("traces.id"), index=True)
    profile: Mapped[dict[str, Any]]
    method: Mapped[str] = mapped_column(String(60))
    method_version: Mapped[str] = mapped_column(String(20))
    settings: Mapped[dict[str, Any]]
    usable: Mapped[bool]
    estimates: Mapped[dict[str, Any]]
    corrected: Mapped[dict[str, Any]]
    withheld: Mapped[dict[str, Any]]
    doubts: Mapped[list[Any]]
    working: Mapped[dict[str, Any]] = mapped_column(deferred=True)
    criteria: Mapped[dict[str, Any]]
    verdict: Mapped[str] = mapped_column(String(20))
    checks: Mapped[list[Any]]
    logged_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
    logged_at: Mapped[datetime]
    voided_at: Mapped[datetime | None]
    void_reason: Mapped[str] = mapped_column(Text, default="")

    trace: Mapped[Trace] = relationship(lazy="raise")
    logged_by: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (
        CheckConstraint("verdict in ('pass', 'fail', 'not valid')", name="known_verdict"),
        Index(
            "uq_pulse_tests_packing_trace",
            "packing_id",
            "trace_id",
            unique=True,
            sqlite_where=text("voided_at is null"),
            postgresql_where=text("voided_at is null"),
        ),
    )
