"""Campaigns that are planned: what a bed has to be reviewed for, and by when."""

from __future__ import annotations

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.packing import Packing
from beadline.store.tables.user import User


class PlannedCampaign(Base):
    """A campaign that somebody has announced; it may be called off, with a reason."""

    __tablename__ = "planned_campaigns"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"), index=True)
    product: Mapped[str] = mapped_column(String(80))
    cycles: Mapped[int]
    starts_on: Mapped[date]
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"), index=True)
    made_at: Mapped[datetime]
    called_off_at: Mapped[datetime | None]
    called_off_reason: Mapped[str] = mapped_column(Text, default="")

    packing: Mapped[Packing] = relationship(lazy="raise")
    made_by: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (
        CheckConstraint("cycles > 0 and cycles <= 600", name="cycles_possible"),
        CheckConstraint("(called_off_at is null) = (called_off_reason = '')", name="calling_off_has_reason"),
    )
