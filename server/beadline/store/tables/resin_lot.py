"""Lots of resin; a lot can outlive one packing."""

from __future__ import annotations

from datetime import date

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column, relationship

from beadline.store.base import Base
from beadline.store.tables.resin import Resin


class ResinLot(Base):
    """A delivered lot of a resin; the cycles that it has seen are counted over all its packings."""

    __tablename__ = "resin_lots"

    id: Mapped[int] = mapped_column(primary_key=True)
    resin_id: Mapped[int] = mapped_column(ForeignKey("resins.id"), index=True)
    lot_number: Mapped[str] = mapped_column(String(60), unique=True)
    received_on: Mapped[date | None]

    resin: Mapped[Resin] = relationship(lazy="raise")
