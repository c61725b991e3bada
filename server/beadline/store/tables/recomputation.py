"""Recomputations: stored traces analysed again, with the method of the day."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, Index, String, Text, UniqueConstraint, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.packing import Packing
from beadline.store.tables.user import User


class Recomputation(Base):
    """One order to analyse anew: of which column (empty for all), by which method, by whom and why.

    One at a time runs, with as many processes as are wanted.
    """

    __tablename__ = "recomputations"

    id: Mapped[int] = mapped_column(primary_key=True)
    column_tag: Mapped[str] = mapped_column(String(60), default="")
    reason: Mapped[str] = mapped_column(Text)
    method: Mapped[str] = mapped_column(String(60))
    method_version: Mapped[str] = mapped_column(String(20))
    state: Mapped[str] = mapped_column(String(12), default="running")
    started_at: Mapped[datetime]
    started_by_id: Mapped[int] = mapped_column(ForeignKey("users.id"))
    ended_at: Mapped[datetime | None]

    started_by: Mapped[User] = relationship(lazy="raise")

    __table_args__ = (
        CheckConstraint("state in ('running', 'finished', 'given up')", name="known_state"),
        CheckConstraint("(state = 'running') = (ended_at is null)", name="ended_has_a_time"),
        CheckConstraint("reason <> ''", name="has_reason"),
        Index(
            "uq_recomputations_running",
            "state",
            unique=True,
            sqlite_where=text("state = 'running'"),
            postgresql_where=text("state = 'running'"),
        ),
    )


class RecomputedBed(Base):
    """A bed of a recomputation; its report, before and after, is there once its new results count."""

    __tablename__ = "recomputed_beds"

    id: Mapped[int] = mapped_column(primary_key=True)
    recomputation_id: Mapped[int] = mapped_column(ForeignKey("recomputations.id"))
    packing_id: Mapped[int] = mapped_column(ForeignKey("packings.id"))
    finished_at: Mapped[datetime | None]
    report: Mapped[dict[str, Any]]

    packing: Mapped[Packing] = relationship(lazy="raise")

    __table_args__ = (UniqueConstraint("recomputation_id", "packing_id"),)


class RecomputedCycle(Base):
    """A cycle of a recomputation: what came of its trace, and the conditions that were read anew.

    Once they count, `earlier_conditions` keeps those that they replaced.
    """

    __tablename__ = "recomputed_cycles"

    id: Mapped[int] = mapped_column(primary_key=True)
    recomputation_id: Mapped[int] = mapped_column(ForeignKey("recomputations.id"))
    cycle_id: Mapped[int] = mapped_column(ForeignKey("cycles.id"), index=True)
    outcome: Mapped[str] = mapped_column(String(12))
    why: Mapped[str] = mapped_column(Text, default="")
    conditions: Mapped[dict[str, Any]]
    earlier_conditions: Mapped[dict[str, Any] | None] = mapped_column(JSON(none_as_null=True))

    __table_args__ = (
        UniqueConstraint("recomputation_id", "cycle_id"),
        CheckConstraint("outcome in ('new', 'unchanged', 'skipped')", name="known_outcome"),
        CheckConstraint("(outcome = 'skipped') = (why <> '')", name="skipped_has_reason"),
    )
