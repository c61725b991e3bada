"""Packings: the record of a packed bed, hold and release, unpacking."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, SiteSettings, Viewer, WriteSession, allowed
from beadline.boundary.shapes import Why
from beadline.features.columns import service as columns
from beadline.features.packings import service as packings
from beadline.features.packings.service import PackingRecord
from beadline.features.resins import service as resins
from beadline.features.transitions import service as transitions
from beadline.kit import forms
from beadline.kit.errors import Invalid
from beadline.store.tables import Packing

router = APIRouter(prefix="/api/v1/packings", tags=["packings"])
Keeper = Annotated[Person, Depends(allowed("change library"))]
Positive = Annotated[float, Field(gt=0)]
MANY_CYCLES = 1_000_000


class RecordOfPacking(BaseModel):
    """What the packing record says."""

    model_config = ConfigDict(extra="forbid")

    bed_height_mm: Positive
    slurry_percent: float | None = Field(None, gt=0, le=100, description="Settled bed in the slurry.")
    slurry_volume_l: Positive | None = None
    settled_height_mm: Positive | None = None
    consolidated_height_mm: Positive | None = Field(None, description="Under the flow of packing.")
    compression_factor: float | None = Field(None, ge=1)
    packing_flow_cm_h: Positive | None = None
    packing_pressure_kpa: Positive | None = None
    packed_in: Literal["", "water", "buffer of use", "strongest liquid of use"] = ""
    packed_by: Literal["", "flow", "axial compression", "suction", "gravity"] = ""
    demanding_feed: bool = Field(
        False,
        description="Whether the feed is more viscous or more conductive than the buffers.",
    )
    cycle_limit: int | None = Field(None, ge=1, le=MANY_CYCLES)
    pool_volume_l: Positive | None = None
    pool_tank_l: Positive | None = None
    note: str = Field("", max_length=4000)


class NewPacking(RecordOfPacking):
    """A packing to be recorded."""

    column: str = Field(description="Asset tag or name of the column.")
    lot_id: int = Field(description="As `/api/v1/library/lots` lists it.")
    step_plan_id: int = Field(description="As `/api/v1/step-plans` lists it.")
    packed_at: str = Field(description="ISO 8601; in the site's zone if it names none.")


class KnownPacking(RecordOfPacking):
    """A recorded packing; volumes in m3, heights as recorded."""

    id: int
    column: str
    packing: int = Field(description="Number within its column.")
    resin: str
    lot_id: int
    lot_number: str
    step_plan_id: int
    step_plan: str
    packed_at: datetime
    unpacked_at: datetime | None
    on_hold_since: datetime | None
    bed_volume_m3: float
    address: str


@router.get("")
def list_packings(
    session: ReadSession,
    viewer: Viewer,
    column: Annotated[str, Query(description="Asset tag or name; every column if left out.")] = "",
) -> list[KnownPacking]:
    """List packings, those that were unpacked among them: by column, the newest first."""
    found = packings.every(session)
    if column:
        wanted = columns.find(session, column)
        found = [packing for packing in found if packing.column_id == wanted.id]
    return [_told(packing) for packing in found]


@router.get("/{packing_id}")
def one_packing(session: ReadSession, viewer: Viewer, packing_id: int) -> KnownPacking:
    """Give the record of one packing."""
    return _told(packings.get(session, packing_id))


@router.post("", status_code=201)
def record(
    session: WriteSession, keeper: Keeper, settings: SiteSettings, now: Now, new: NewPacking
) -> KnownPacking:
    """Record that a column was packed; its trend starts here."""
    packed_at = forms.moment(new.packed_at, settings.zone, where="packed_at")
    if packed_at is None or packed_at > now:
        mend = "Give the time, not later than now."
        raise Invalid("When it was packed is missing or to come.", where="packed_at", mend=mend)
    said = {name: getattr(new, name) for name in RecordOfPacking.model_fields}
    made = packings.record_packing(
        session,
        column=columns.find(session, new.column),
        lot=resins.lot(session, new.lot_id),
        step_plan=transitions.plan(session, new.step_plan_id),
        packed_at=packed_at,
        record=PackingRecord(**said),
        by=keeper.user,
        at=now,
    )
    return _told(packings.get(session, made.id))


@router.post("/{packing_id}/hold")
def hold(session: WriteSession, keeper: Keeper, now: Now, packing_id: int, why: Why) -> KnownPacking:
    """Say to everybody that this bed is not to be run."""
    packing = packings.get(session, packing_id)
    packings.hold(session, packing, why=why.reason, by=keeper.user, at=now)
    return _told(packing)


@router.post("/{packing_id}/release")
def release(session: WriteSession, keeper: Keeper, now: Now, packing_id: int, why: Why) -> KnownPacking:
    """Release a bed from hold, as site procedure and qualified people decided."""
    packing = packings.get(session, packing_id)
    packings.release(session, packing, why=why.reason, by=keeper.user, at=now)
    return _told(packing)


@router.post("/{packing_id}/unpack")
def unpack(session: WriteSession, keeper: Keeper, now: Now, packing_id: int, why: Why) -> KnownPacking:
    """Record that the column was unpacked; the packing and its trend end now."""
    packing = packings.get(session, packing_id)
    packings.need_reason(why.reason)
    packings.unpack(session, packing, unpacked_at=now, why=why.reason.strip(), by=keeper.user, at=now)
    return _told(packing)


def _told(packing: Packing) -> KnownPacking:
    said: dict[str, Any] = {name: getattr(packing, name) for name in RecordOfPacking.model_fields}
    return KnownPacking(
        **said,
        id=packing.id,
        column=packing.column.asset_tag,
        packing=packing.number,
        resin=packing.lot.resin.name,
        lot_id=packing.lot_id,
        lot_number=packing.lot.lot_number,
        step_plan_id=packing.step_plan_id,
        step_plan=f"{packing.step_plan.name}, version {packing.step_plan.version}",
        packed_at=packing.packed_at,
        unpacked_at=packing.unpacked_at,
        on_hold_since=packing.on_hold_since,
        bed_volume_m3=packings.bed_of(packing).bed_volume_m3,
        address=f"/packings/{packing.id}",
    )
