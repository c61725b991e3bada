"""Judgements: what the charts said of each cycle."""

from __future__ import annotations

from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class Judgement(Base):
    """The verdict on one cycle, under one version of the baseline."""

    __tablename__ = "judgements"

    id: Mapped[int] = mapped_column(primary_key=True)
    cycle_id: Mapped[int] = mapped_column(ForeignKey("cycles.id"), unique=True)
    baseline_id: Mapped[int] = mapped_column(ForeignKey("baselines.id"), index=True)
    verdict: Mapped[str] = mapped_column(String(24))
    condition: Mapped[str] = mapped_column(String(24))
    drift: Mapped[float | None]
    charts: Mapped[dict[str, Any]]
    not_the_bed: Mapped[list[Any]]

    __table_args__ = (
        CheckConstraint(
            "verdict in ('in limits', 'past alert limit', 'past action limit', 'not usable')",
            name="known_verdict",
        ),
    )
