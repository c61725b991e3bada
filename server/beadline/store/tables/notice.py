"""Notices: the outbox."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.alert import Alert
from beadline.store.tables.notice_route import NoticeRoute


class Notice(Base):
    """What one route is to be told of one alert, and how far that has come.

    While it is being sent, `next_attempt_at` is when the worker that claimed it is taken for dead.
    """

    __tablename__ = "notices"

    id: Mapped[int] = mapped_column(primary_key=True)
    alert_id: Mapped[int | None] = mapped_column(ForeignKey("alerts.id"))
    event: Mapped[str] = mapped_column(String(16))
    route_id: Mapped[int] = mapped_column(ForeignKey("notice_routes.id"), index=True)
    level: Mapped[str] = mapped_column(String(8))
    state: Mapped[str] = mapped_column(String(8), default="waiting")
    attempts: Mapped[int] = mapped_column(default=0)
    due_at: Mapped[datetime]
    next_attempt_at: Mapped[datetime]
    claim: Mapped[str] = mapped_column(String(32), default="")
    last_error: Mapped[str] = mapped_column(Text, default="")
    created_at: Mapped[datetime]
    sent_at: Mapped[datetime | None]

    alert: Mapped[Alert | None] = relationship(lazy="raise")
    route: Mapped[NoticeRoute] = relationship(lazy="raise")

    __table_args__ = (
        CheckConstraint("event in ('raised', 'worsened', 'escalated', 'test')", name="known_event"),
        CheckConstraint("(event = 'test') = (alert_id is null)", name="only_tests_lack_an_alert"),
        CheckConstraint("level in ('alert', 'action', '')", name="known_level"),
        CheckConstraint("state in ('waiting', 'sending', 'sent', 'failed')", name="known_state"),
        CheckConstraint("(state = 'sent') = (sent_at is not null)", name="sent_has_a_time"),
        UniqueConstraint("alert_id", "event", "route_id", "level"),
        Index("ix_notices_state_next_attempt_at", "state", "next_attempt_at"),
    )
