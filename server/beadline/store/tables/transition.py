"""Transitions: the results of one step change of a cycle."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import ForeignKey, String, Text, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base
from beadline.store.types import FloatArray


class Transition(Base):
    """What was computed from one step change; a new calculation is a new row beside the old one.

    `superseded` is every row that does not count: an older one, and one of a recomputation until the rest of
    its bed is computed too.
    """

    __tablename__ = "transitions"

    id: Mapped[int] = mapped_column(primary_key=True)
    cycle_id: Mapped[int] = mapped_column(ForeignKey("cycles.id"))
    name: Mapped[str] = mapped_column(String(80))
    position: Mapped[int]
    revision: Mapped[int] = mapped_column(default=1)
    superseded: Mapped[bool] = mapped_column(default=False)
    recomputation_id: Mapped[int | None] = mapped_column(ForeignKey("recomputations.id"))
    plan: Mapped[dict[str, Any]]
    how_found: Mapped[str] = mapped_column(Text)
    switch_volume_m3: Mapped[float | None]
    method: Mapped[str] = mapped_column(String(60))
    method_version: Mapped[str] = mapped_column(String(20))
    settings: Mapped[dict[str, Any]]
    usable: Mapped[bool]
    direction: Mapped[str] = mapped_column(String(8), default="")
    estimates: Mapped[dict[str, Any]]
    withheld: Mapped[dict[str, Any]]
    doubts: Mapped[list[Any]]
    working: Mapped[dict[str, Any]] = mapped_column(deferred=True)
    fraction: Mapped[NDArray[np.float64] | None] = mapped_column(FloatArray, deferred=True)
    density_per_cv: Mapped[NDArray[np.float64] | None] = mapped_column(FloatArray, deferred=True)
    analysed_at: Mapped[datetime]

    __table_args__ = (UniqueConstraint("cycle_id", "name", "revision"),)
