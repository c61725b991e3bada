"""Campaign reviews: will the bed last through what is planned."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from sqlalchemy import CheckConstraint, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.packing import Packing
from beadline.store.tables.signature import Signature
from beadline.store.tables.user import User


class CampaignReview(Base):
    """What was known of a bed before a campaign, what was proposed, and what people decided."""

    __tablename__ = "campaign_reviews"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"), index=True)
    product: Mapped[str] = mapped_column(String(80))
    cycles_planned: Mapped[int]
    starts_on: Mapped[date]
    content: Mapped[dict[str, Any]] = mapped_column(deferred=True)
    sentence: Mapped[str] = mapped_column(Text)
    proposal: Mapped[str] = mapped_column(String(24))
    state: Mapped[str] = mapped_column(String(10))
    decision: Mapped[str] = mapped_column(String(24), default="")
    reason: Mapped[str] = mapped_column(Text, default="")
    made_at: Mapped[datetime]
    made_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))

    packing: Mapped[Packing] = relationship(lazy="raise")
    made_by: Mapped[User] = relationship(lazy="raise")
    signatures: Mapped[list[Signature]] = relationship(lazy="raise", order_by="Signature.id")

    __table_args__ = (
        CheckConstraint("state in ('draft', 'decided', 'approved')", name="known_state"),
        CheckConstraint("(state = 'draft') = (decision = '')", name="decided_means_decision"),
        CheckConstraint("(decision = '') = (reason = '')", name="decision_has_reason"),
        CheckConstraint("cycles_planned > 0 and cycles_planned <= 600", name="cycles_possible"),
    )
