"""Pictures that people add to an alert as evidence."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.trace import Trace
from beadline.store.tables.user import User


class AlertPicture(Base):
    """A picture of what was seen; its bytes are kept as those of a trace are."""

    __tablename__ = "alert_pictures"

    id: Mapped[int] = mapped_column(primary_key=True)
    alert_id: Mapped[int] = mapped_column(ForeignKey("alerts.id"), index=True)
    trace_id: Mapped[int] = mapped_column(ForeignKey("traces.id"), index=True)
    media_type: Mapped[str] = mapped_column(String(20))
    added_at: Mapped[datetime]
    added_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))

    trace: Mapped[Trace] = relationship(lazy="raise")
    added_by: Mapped[User] = relationship(lazy="raise")
