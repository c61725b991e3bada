"""Columns: the hardware."""

from __future__ import annotations

from sqlalchemy import CheckConstraint, String
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class Column(Base):
    """A tube with adapters and frits, known by its asset tag."""

    __tablename__ = "columns"

    id: Mapped[int] = mapped_column(primary_key=True)
    asset_tag: Mapped[str] = mapped_column(String(40), unique=True)
    name: Mapped[str] = mapped_column(String(80), unique=True)
    kind: Mapped[str] = mapped_column(String(40))
    area: Mapped[str] = mapped_column(String(60), default="")
    inner_diameter_mm: Mapped[float]
    pressure_rating_kpa: Mapped[float]
    hold_up_ml: Mapped[float] = mapped_column(default=0.0)

    __table_args__ = (
        CheckConstraint("inner_diameter_mm > 0 and inner_diameter_mm <= 3000", name="diameter_possible"),
        CheckConstraint("pressure_rating_kpa > 0", name="rating_positive"),
        CheckConstraint("hold_up_ml >= 0", name="hold_up_not_negative"),
        CheckConstraint(
            "kind in ('fixed axial compression', 'dynamic axial compression', 'self-packing')",
            name="known_kind",
        ),
    )
