"""What beds are made of: the hardware, the resins and their lots."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Viewer, WriteSession, allowed
from beadline.features.columns import service as columns
from beadline.features.cycles import service as cycles
from beadline.features.resins import service as resins
from beadline.store.tables import Column, Resin, ResinLot

router = APIRouter(prefix="/api/v1/library", tags=["library"])
Keeper = Annotated[Person, Depends(allowed("change library"))]
Word = Annotated[str, Field(min_length=1, max_length=80)]
ShortWord = Annotated[str, Field(min_length=1, max_length=40)]
Positive = Annotated[float, Field(gt=0)]
MANY_CYCLES = 1_000_000


class NewColumn(BaseModel):
    """A column as hardware: tube, adapters, frits."""

    model_config = ConfigDict(extra="forbid")

    asset_tag: ShortWord
    name: Word
    area: str = Field("", max_length=60)
    kind: str = Field(description=f"One of: {', '.join(columns.KINDS)}.")
    inner_diameter_mm: Positive
    pressure_rating_kpa: Positive
    hold_up_ml: float = Field(0.0, ge=0, description="Outside the bed: tubing, frits and detector.")


class KnownColumn(NewColumn):
    """A recorded column."""

    id: int


class NewResin(BaseModel):
    """What columns are packed with."""

    model_config = ConfigDict(extra="forbid")

    name: Word
    chemistry: str = Field(description=f"One of: {', '.join(resins.CHEMISTRIES)}.")
    bead_diameter_um: Positive
    pressure_limit_kpa: Positive | None = None
    cycle_limit: int | None = Field(None, ge=1, le=MANY_CYCLES)
    swells: bool = Field(False, description="Whether its bed moves between liquids, by 10 to 20 %.")


class KnownResin(NewResin):
    """A recorded resin."""

    id: int


class NewLot(BaseModel):
    """A delivery of a resin; it can outlive one packing."""

    model_config = ConfigDict(extra="forbid")

    resin: str = Field(description="Name of the resin.")
    lot_number: str = Field(min_length=1, max_length=60)
    received_on: date | None = None


class KnownLot(NewLot):
    """A recorded lot with the cycles that it has seen in all its packings."""

    id: int
    cycles: int


@router.get("/columns")
def list_columns(session: ReadSession, viewer: Viewer) -> list[KnownColumn]:
    """List the columns as hardware, by name; `/api/v1/columns` lists their beds."""
    return [_column(one) for one in columns.every(session)]


@router.post("/columns", status_code=201)
def add_column(session: WriteSession, keeper: Keeper, now: Now, new: NewColumn) -> KnownColumn:
    """Record a column."""
    return _column(columns.make_column(session, **new.model_dump(), by=keeper.user, at=now))


@router.get("/resins")
def list_resins(session: ReadSession, viewer: Viewer) -> list[KnownResin]:
    """List the resins, by name."""
    return [_resin(one) for one in resins.every(session)]


@router.post("/resins", status_code=201)
def add_resin(session: WriteSession, keeper: Keeper, now: Now, new: NewResin) -> KnownResin:
    """Record a resin."""
    return _resin(resins.make_resin(session, **new.model_dump(), by=keeper.user, at=now))


@router.get("/lots")
def list_lots(session: ReadSession, viewer: Viewer) -> list[KnownLot]:
    """List the resin lots, by number."""
    lots = resins.lots(session)
    used = cycles.used_by_lots(session, [lot.id for lot in lots])
    return [_lot(lot, lot.resin, used.get(lot.id, 0)) for lot in lots]


@router.post("/lots", status_code=201)
def add_lot(session: WriteSession, keeper: Keeper, now: Now, new: NewLot) -> KnownLot:
    """Record a lot."""
    resin = resins.named(session, new.resin)
    lot = resins.make_lot(
        session,
        resin=resin,
        lot_number=new.lot_number,
        received_on=new.received_on,
        by=keeper.user,
        at=now,
    )
    return _lot(lot, resin, 0)


def _column(column: Column) -> KnownColumn:
    return KnownColumn(**{name: getattr(column, name) for name in KnownColumn.model_fields})


def _resin(resin: Resin) -> KnownResin:
    return KnownResin(**{name: getattr(resin, name) for name in KnownResin.model_fields})


def _lot(lot: ResinLot, resin: Resin, used: int) -> KnownLot:
    return KnownLot(
        id=lot.id, resin=resin.name, lot_number=lot.lot_number, received_on=lot.received_on, cycles=used
    )
