"""Alerts: one for each event of a bed."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.alert_event import AlertEvent
from beadline.store.tables.cycle import Cycle
from beadline.store.tables.packing import Packing
from beadline.store.tables.user import User


class Alert(Base):
    """An event of a bed that somebody must see; it never disappears."""

    __tablename__ = "alerts"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"), index=True)
    episode: Mapped[int]
    level: Mapped[str] = mapped_column(String(8))
    status: Mapped[str] = mapped_column(String(16), index=True)
    raised_at: Mapped[datetime]
    raised_by_cycle_id: Mapped[int] = mapped_column(ForeignKey("cycles.id"))
    latest_cycle_id: Mapped[int] = mapped_column(ForeignKey("cycles.id"))
    since_cycle: Mapped[int]
    since_low: Mapped[int]
    since_high: Mapped[int]
    score: Mapped[float]
    headline: Mapped[str] = mapped_column(Text)
    sentence: Mapped[str] = mapped_column(Text)
    evidence: Mapped[list[Any]]
    causes: Mapped[list[Any]]
    returned: Mapped[bool] = mapped_column(default=False)
    shelved_until: Mapped[datetime | None]
    assigned_to_id: Mapped[int | None] = mapped_column(ForeignKey("users.id"))

    packing: Mapped[Packing] = relationship(lazy="raise")
    raised_by_cycle: Mapped[Cycle] = relationship(lazy="raise", foreign_keys=[raised_by_cycle_id])
    latest_cycle: Mapped[Cycle] = relationship(lazy="raise", foreign_keys=[latest_cycle_id])
    assigned_to: Mapped[User | None] = relationship(lazy="raise")
    events: Mapped[list[AlertEvent]] = relationship(lazy="raise", order_by="AlertEvent.id")

    __table_args__ = (
        CheckConstraint("level in ('alert', 'action')", name="known_level"),
        CheckConstraint("status in ('raised', 'acknowledged', 'shelved', 'closed')", name="known_status"),
        UniqueConstraint("packing_id", "episode"),
    )
