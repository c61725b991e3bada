"""Routes of notices: who is told, by which way, of what and when."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, ForeignKey, String, Text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.column import Column


class NoticeRoute(Base):
    """A way to somebody; an empty area or column means every one. Minutes count from midnight in `zone`."""

    __tablename__ = "notice_routes"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    kind: Mapped[str] = mapped_column(String(16))
    target: Mapped[str] = mapped_column(Text)
    secret: Mapped[str] = mapped_column(String(64), default="")
    link_key: Mapped[str] = mapped_column(String(64), default="", server_default="")
    area: Mapped[str] = mapped_column(String(60), default="")
    column_id: Mapped[int | None] = mapped_column(ForeignKey("columns.id"))
    least_level: Mapped[str] = mapped_column(String(8))
    zone: Mapped[str] = mapped_column(String(64))
    digest_minute: Mapped[int | None]
    quiet_from_minute: Mapped[int | None]
    quiet_until_minute: Mapped[int | None]
    action_in_quiet: Mapped[bool] = mapped_column(default=True)
    escalate_after_minutes: Mapped[int | None]
    escalate_to_id: Mapped[int | None] = mapped_column(ForeignKey("notice_routes.id"))
    enabled: Mapped[bool] = mapped_column(default=True)

    column: Mapped[Column | None] = relationship(lazy="raise")
    escalate_to: Mapped[NoticeRoute | None] = relationship(lazy="raise", remote_side="NoticeRoute.id")

    __table_args__ = (
        CheckConstraint("kind in ('email', 'webhook', 'chat')", name="known_kind"),
        CheckConstraint("least_level in ('alert', 'action')", name="known_level"),
        CheckConstraint("digest_minute >= 0 and digest_minute < 1440", name="digest_in_a_day"),
        CheckConstraint("quiet_from_minute >= 0 and quiet_from_minute < 1440", name="quiet_from_in_a_day"),
        CheckConstraint("quiet_until_minute >= 0 and quiet_until_minute < 1440", name="quiet_until_in_a_day"),
        CheckConstraint(
            "(quiet_from_minute is null) = (quiet_until_minute is null)", name="quiet_has_both_ends"
        ),
        CheckConstraint(
            "(escalate_to_id is null) = (escalate_after_minutes is null)", name="escalation_is_whole"
        ),
        CheckConstraint("escalate_after_minutes > 0", name="escalation_takes_time"),
    )
