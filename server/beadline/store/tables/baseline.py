"""Baselines: what is normal for a packing, and how it is watched."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class Baseline(Base):
    """A version of the settings by which a packing's cycles are judged."""

    __tablename__ = "baselines"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"))
    version: Mapped[int] = mapped_column(default=1)
    settings: Mapped[dict[str, Any]]
    made_at: Mapped[datetime]
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
    reason: Mapped[str] = mapped_column(Text, default="")

    __table_args__ = (UniqueConstraint("packing_id", "version"),)
