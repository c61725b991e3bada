"""Packings: one bed each."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index, String, Text, UniqueConstraint, false, text
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.column import Column
from beadline.store.tables.resin_lot import ResinLot
from beadline.store.tables.step_plan import StepPlan


class Packing(Base):
    """This column, packed with this lot on this day."""

    __tablename__ = "packings"

    id: Mapped[int] = mapped_column(primary_key=True)
    column_id: Mapped[int] = mapped_column(ForeignKey("columns.id"))
    number: Mapped[int]
    lot_id: Mapped[int] = mapped_column(ForeignKey("resin_lots.id"), index=True)
    step_plan_id: Mapped[int] = mapped_column(ForeignKey("step_plans.id"), index=True)
    packed_at: Mapped[datetime]
    unpacked_at: Mapped[datetime | None]
    on_hold_since: Mapped[datetime | None]
    bed_height_mm: Mapped[float]
    slurry_percent: Mapped[float | None]
    slurry_volume_l: Mapped[float | None]
    settled_height_mm: Mapped[float | None]
    consolidated_height_mm: Mapped[float | None]
    compression_factor: Mapped[float | None]
    packing_flow_cm_h: Mapped[float | None]
    packing_pressure_kpa: Mapped[float | None]
    packed_in: Mapped[str] = mapped_column(String(30), default="", server_default="")
    packed_by: Mapped[str] = mapped_column(String(30), default="", server_default="")
    demanding_feed: Mapped[bool] = mapped_column(default=False, server_default=false())
    cycle_limit: Mapped[int | None]
    pool_volume_l: Mapped[float | None]
    pool_tank_l: Mapped[float | None]
    note: Mapped[str] = mapped_column(Text, default="")

    column: Mapped[Column] = relationship(lazy="raise")
    lot: Mapped[ResinLot] = relationship(lazy="raise")
    step_plan: Mapped[StepPlan] = relationship(lazy="raise")

    __table_args__ = (
        UniqueConstraint("column_id", "number"),
        Index(
            "uq_packings_column_in_use",
            "column_id",
            unique=True,
            sqlite_where=text("unpacked_at is null"),
            postgresql_where=text("unpacked_at is null"),
        ),
        CheckConstraint("bed_height_mm > 0 and bed_height_mm <= 3000", name="height_possible"),
        CheckConstraint("unpacked_at is null or unpacked_at >= packed_at", name="unpacked_after_packed"),
        CheckConstraint("cycle_limit is null or cycle_limit > 0", name="cycle_limit_positive"),
        CheckConstraint(
            "slurry_percent is null or (slurry_percent > 0 and slurry_percent <= 100)", name="slurry_possible"
        ),
        CheckConstraint("compression_factor is null or compression_factor >= 1", name="compression_possible"),
        CheckConstraint(
            "settled_height_mm is null or settled_height_mm > 0", name="settled_height_mm_possible"
        ),
        CheckConstraint(
            "consolidated_height_mm is null or consolidated_height_mm > 0",
            name="consolidated_height_mm_possible",
        ),
        CheckConstraint(
            "packed_in in ('', 'water', 'buffer of use', 'strongest liquid of use')", name="packed_in_known"
        ),
        CheckConstraint(
            "packed_by in ('', 'flow', 'axial compression', 'suction', 'gravity')", name="packed_by_known"
        ),
    )
