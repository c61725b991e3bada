"""What happened to an alert."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.user import User


class AlertEvent(Base):
    """A step in an alert's life: raised, worsened, acknowledged, commented, closed."""

    __tablename__ = "alert_events"

    id: Mapped[int] = mapped_column(primary_key=True)
    alert_id: Mapped[int] = mapped_column(ForeignKey("alerts.id"), index=True)
    at: Mapped[datetime]
    user_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
    did: Mapped[str] = mapped_column(String(24))
    comment: Mapped[str] = mapped_column(Text, default="")

    user: Mapped[User] = relationship(lazy="raise")
