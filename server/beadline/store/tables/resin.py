"""Resins: what columns are packed with."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, String, false
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class Resin(Base):
    """A chromatography resin and its limits."""

    __tablename__ = "resins"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    chemistry: Mapped[str] = mapped_column(String(20))
    bead_diameter_um: Mapped[float]
    pressure_limit_kpa: Mapped[float | None]
    cycle_limit: Mapped[int | None]
    swells: Mapped[bool] = mapped_column(default=False, server_default=false())

    __table_args__ = (
        CheckConstraint("bead_diameter_um > 0 and bead_diameter_um < 2000", name="beads_possible"),
        CheckConstraint("cycle_limit is null or cycle_limit > 0", name="cycle_limit_positive"),
        CheckConstraint(
            "chemistry in ('IEX', 'affinity', 'HIC', 'SEC', 'RP', 'mixed mode')", name="known_chemistry"
        ),
    )
