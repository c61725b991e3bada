"""What was computed of a pulse test before it was computed anew."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.recomputation import Recomputation


class EarlierPulseResult(Base):
    """A result that no longer counts, as it was, with the recomputation whose result took its place."""

    __tablename__ = "earlier_pulse_results"

    id: Mapped[int] = mapped_column(primary_key=True)
    pulse_test_id: Mapped[int] = mapped_column(ForeignKey("pulse_tests.id"))
    recomputation_id: Mapped[int] = mapped_column(ForeignKey("recomputations.id"))
    method: Mapped[str] = mapped_column(String(60))
    method_version: Mapped[str] = mapped_column(String(20))
    settings: Mapped[dict[str, Any]]
    usable: Mapped[bool]
    estimates: Mapped[dict[str, Any]]
    corrected: Mapped[dict[str, Any]]
    withheld: Mapped[dict[str, Any]]
    doubts: Mapped[list[Any]]
    working: Mapped[dict[str, Any]] = mapped_column(deferred=True)
    verdict: Mapped[str] = mapped_column(String(20))
    checks: Mapped[list[Any]]
    replaced_at: Mapped[datetime]

    recomputation: Mapped[Recomputation] = relationship(lazy="raise")

    __table_args__ = (UniqueConstraint("pulse_test_id", "recomputation_id"),)
