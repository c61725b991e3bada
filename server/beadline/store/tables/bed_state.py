"""The standing of each bed after its newest cycle."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class BedState(Base):
    """What the overview shows of a bed, and what the next cycle's judgement starts from."""

    __tablename__ = "bed_states"

    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"), primary_key=True)
    condition: Mapped[str] = mapped_column(String(24))
    drift: Mapped[float | None]
    cycles: Mapped[int]
    last_cycle: Mapped[int | None]
    last_started_at: Mapped[datetime | None]
    sentence: Mapped[str] = mapped_column(Text, default="")
    beads: Mapped[list[Any]]
    latest: Mapped[dict[str, Any]]
    limits: Mapped[dict[str, Any]]
    state: Mapped[dict[str, Any]] = mapped_column(deferred=True)
    updated_at: Mapped[datetime]
