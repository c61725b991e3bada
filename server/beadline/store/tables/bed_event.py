"""What was done to a bed between its cycles: cleaning and maintenance."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.user import User


class BedEvent(Base):
    """A cleaning or a piece of work; a wrong one is voided with a reason, and replaced by a new row."""

    __tablename__ = "bed_events"

    id: Mapped[int] = mapped_column(primary_key=True)
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"), index=True)
    kind: Mapped[str] = mapped_column(String(40))
    happened_at: Mapped[datetime]
    after_cycle: Mapped[int | None]
    note: Mapped[str] = mapped_column(Text, default="", server_default="")
    replaces_id: Mapped[int | None] = mapped_column(ForeignKey("bed_events.id"), index=True)
    noted_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"), index=True)
    noted_at: Mapped[datetime]
    voided_at: Mapped[datetime | None]
    void_reason: Mapped[str] = mapped_column(Text, default="", server_default="")

    noted_by: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (
        Index(
            "uq_bed_events_packing_kind_time",
            "packing_id",
            "kind",
            "happened_at",
            unique=True,
            sqlite_where=text("voided_at is null"),
            postgresql_where=text("voided_at is null"),
        ),
        CheckConstraint(
            "kind in ('cleaned in place', 'sanitised', 'storage solution changed', 'adapter adjusted', "
            "'frit changed', 'probe calibrated', 'probe replaced', 'pump serviced', 'column levelled', "
            "'opened and inspected', 'other work')",
            name="known_kind",
        ),
        CheckConstraint("after_cycle is null or after_cycle >= 0", name="after_cycle_possible"),
        CheckConstraint("kind <> 'other work' or note <> ''", name="other_work_is_named"),
        CheckConstraint("(voided_at is null) = (void_reason = '')", name="void_has_reason"),
    )
