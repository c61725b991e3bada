"""Step plans: which transitions of a process are analysed."""

from __future__ import annotations

from typing import Any

from sqlalchemy import String, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column

from beadline.store.base import Base


class StepPlan(Base):
    """The transitions of a process, each on a signal and in a window; a changed plan is a new version."""

    __tablename__ = "step_plans"

    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    version: Mapped[int] = mapped_column(default=1)
    product: Mapped[str] = mapped_column(String(80), default="")
    transitions: Mapped[list[Any]]
    reference_flow_m3_s: Mapped[float | None]

    __table_args__ = (UniqueConstraint("name", "version"),)
