"""Record packings, and say which bed a column holds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.columns import service as columns
from beadline.features.packings import queries
from beadline.features.packings.schemas import Bed
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.science import hydraulics
from beadline.store.tables import Column, Packing, ResinLot, StepPlan, User

LIQUIDS = ("", "water", "buffer of use", "strongest liquid of use")
WAYS = ("", "flow", "axial compression", "suction", "gravity")


@dataclass(frozen=True, slots=True, kw_only=True)
class PackingRecord:
    """What the packing record says: heights in mm, pressures in kPa, volumes in L."""

    bed_height_mm: float
    slurry_percent: float | None = None
    slurry_volume_l: float | None = None
    settled_height_mm: float | None = None
    consolidated_height_mm: float | None = None
    compression_factor: float | None = None
    packing_flow_cm_h: float | None = None
    packing_pressure_kpa: float | None = None
    packed_in: str = ""
    packed_by: str = ""
    demanding_feed: bool = False
    cycle_limit: int | None = None
    pool_volume_l: float | None = None
    pool_tank_l: float | None = None
    note: str = ""


def record_packing(
    session: Session,
    *,
    column: Column,
    lot: ResinLot,
    step_plan: StepPlan,
    packed_at: datetime,
    record: PackingRecord,
    by: User,
    at: datetime,
) -> Packing:
    """Record that a column was packed; its trend starts here.

    Raises
    ------
    Conflict
        If the column still holds another packing.
    Invalid
        If the bed height, the time or a choice can't be right.
    """
    present = queries.in_use(session, column.id)
    if present is not None:
        said = f"{column.name} still holds packing {present.number}."
        raise Conflict(said, where="column", mend="Record that it was unpacked first.")
    _check(record)
    older = next(iter(queries.of_column(session, column.id)), None)
    if older is not None and older.unpacked_at is not None and packed_at < older.unpacked_at:
        said = f"Packing {older.number} was in this column until {older.unpacked_at:%Y-%m-%d %H:%M}."
        raise Invalid(said, where="packed_at", mend="Check the time; a packing starts after the one before.")
    number = older.number + 1 if older else 1
    packing = Packing(
        column_id=column.id,
        number=number,
        lot_id=lot.id,
        step_plan_id=step_plan.id,
        packed_at=packed_at,
        **{name: getattr(record, name) for name in PackingRecord.__slots__},
    )
    session.add(packing)
    session.flush()  # the record needs its id
    said = f"Recorded packing {number} of {column.name}: {record.bed_height_mm:g} mm of lot {lot.lot_number}"
    records.write(session, by=by, at=at, did="make", thing="packing", thing_id=packing.id, said=said)
    return packing


def drawn_up(record: PackingRecord, *, column: Column, lot: ResinLot, step_plan: StepPlan) -> Packing:
    """Return what would be recorded of a packing; nobody has recorded it yet.

    Raises
    ------
    Invalid
        If the bed height or a choice can't be right.
    """
    _check(record)
    values = {name: getattr(record, name) for name in PackingRecord.__slots__}
    return Packing(column=column, lot=lot, step_plan=step_plan, **values)


def _check(record: PackingRecord) -> None:
    if not 5 <= record.bed_height_mm <= 3000:
        said = f"A bed height of {record.bed_height_mm / 10:g} cm can't be right."
        raise Invalid(said, where="bed_height_cm", mend="Give the height of the packed bed, 0.5 to 300 cm.")
    for name, known in (("packed_in", LIQUIDS), ("packed_by", WAYS)):
        if getattr(record, name) not in known:
            mend = f"Choose one of {', '.join(known[1:])}, or leave it empty."
            raise Invalid(f"This is not known: {getattr(record, name)!r}.", where=name, mend=mend)


def unpack(
    session: Session, packing: Packing, *, unpacked_at: datetime, by: User, at: datetime, why: str = ""
) -> None:
    """Close a packing; its trend ends here.

    Raises
    ------
    Conflict
        If it was unpacked before.
    """
    if packing.unpacked_at:
        raise Conflict(f"This packing was unpacked on {packing.unpacked_at:%Y-%m-%d}.")
    packing.unpacked_at = unpacked_at
    said = f"Packing {packing.number} was unpacked on {unpacked_at:%Y-%m-%d}"
    records.write(
        session, by=by, at=at, did="unpack", thing="packing", thing_id=packing.id, said=said, why=why
    )


def hold(session: Session, packing: Packing, *, why: str, by: User, at: datetime) -> None:
    """Put a bed on hold: nobody should run it until it is released.

    Raises
    ------
    Invalid
        If no reason is given.
    Conflict
        If it is on hold, or was unpacked.
    """
    need_reason(why)
    if packing.unpacked_at or packing.on_hold_since:
        raise Conflict("This bed is on hold already, or unpacked.", mend="Load the page again.")
    packing.on_hold_since = at
    said = f"Put packing {packing.number} on hold"
    records.write(
        session, by=by, at=at, did="hold", thing="packing", thing_id=packing.id, said=said, why=why.strip()
    )


def release(session: Session, packing: Packing, *, why: str, by: User, at: datetime) -> None:
    """Release a bed from hold.

    Raises
    ------
    Invalid
        If no reason is given.
    Conflict
        If it is not on hold.
    """
    need_reason(why)
    if packing.on_hold_since is None:
        raise Conflict("This bed is not on hold.", mend="Load the page again.")
    packing.on_hold_since = None
    said = f"Released packing {packing.number} from hold"
    records.write(
        session, by=by, at=at, did="release", thing="packing", thing_id=packing.id, said=said, why=why.strip()
    )


def need_reason(why: str) -> None:
    """Refuse a change of a bed without a reason.

    Raises
    ------
    Invalid
        If there is none.
    """
    if not why.strip():
        raise Invalid("A reason is missing.", where="reason", mend="Say why; it stays in the record.")


def current(session: Session, tag_or_name: str) -> Packing:
    """Return the bed that a column holds now, by the column's tag or name.

    Raises
    ------
    NotFound
        If there is no such column.
    Conflict
        If the column is empty.
    """
    packing = queries.in_use_of(session, tag_or_name)
    if packing is None:
        column = columns.find(session, tag_or_name)
        said = f"{column.name} is not packed at present."
        raise Conflict(
            said, where="column", mend="Record the packing first, under Packing.", code="not-packed"
        )
    return packing


def of_column(session: Session, tag_or_name: str, *, number: int | None) -> Packing:
    """Return a column's packing with this number, unpacked or not; the present one if none is given.

    Raises
    ------
    NotFound
        If there is no such column or packing.
    Conflict
        If none is given and the column is empty.
    """
    if number is None:
        return current(session, tag_or_name)
    column = columns.find(session, tag_or_name)
    every = queries.of_column(session, column.id)
    found = next((one for one in every if one.number == number), None)
    if found is None:
        known = ", ".join(str(one.number) for one in reversed(every)) or "none"
        said = f"{column.name} has no packing {number}; it has {known}."
        raise NotFound(said, where="packing", mend="Give the number of one of them.")
    return found


def in_column(session: Session, column: Column) -> Packing | None:
    """Return the bed that a column holds now, None if it is empty."""
    return queries.in_use(session, column.id)


def newest_in(session: Session, column_id: int) -> Packing | None:
    """Return the newest bed of a column, be it unpacked or not."""
    return next(iter(queries.of_column(session, column_id)), None)


def in_use(session: Session) -> list[Packing]:
    """Return every bed that a column holds now, by the column's name."""
    return sorted(
        (p for p in queries.newest_of_every_column(session) if p.unpacked_at is None),
        key=lambda packing: packing.column.name,
    )


def every(session: Session) -> list[Packing]:
    """Return every bed there was, by the column's name, the newest of a column first."""
    return sorted(queries.every(session), key=lambda packing: (packing.column.name, -packing.number))


def get(session: Session, packing_id: int) -> Packing:
    """Return a packing.

    Raises
    ------
    NotFound
        If there is none.
    """
    packing = queries.by_id(session, packing_id)
    if packing is None:
        raise NotFound(
            f"There is no packing {packing_id}.", where="packing", mend="Open it from the Columns page."
        )
    return packing


def bed_of(packing: Packing) -> Bed:
    """Return the bed's geometry in SI units."""
    area_m2 = math.pi * (packing.column.inner_diameter_mm * 1e-3) ** 2 / 4
    height_m = packing.bed_height_mm * 1e-3
    return Bed(
        bed_volume_m3=area_m2 * height_m,
        bed_height_m=height_m,
        cross_section_m2=area_m2,
        bead_diameter_m=packing.lot.resin.bead_diameter_um * 1e-6,
        hold_up_m3=packing.column.hold_up_ml * 1e-6,
        reference_flow_m3_s=packing.step_plan.reference_flow_m3_s,
    )


def margins(
    packing: Packing, *, pressure_drop_pa: float, inlet_pressure_pa: float | None
) -> hydraulics.Margins:
    """Return what is left up to packing pressure, resin limit and hardware rating.

    Parameters
    ----------
    pressure_drop_pa : float
        Over the bed, as it was run [Pa].
    inlet_pressure_pa : float or None
        Before the column [Pa]; where none was recorded the drop stands for it, which is lower.
    """

    def limit(kpa: float | None) -> float | None:
        return kpa * 1e3 if kpa else None

    return hydraulics.margins(
        inlet_pressure_pa=max(inlet_pressure_pa or 0.0, pressure_drop_pa),
        pressure_drop_pa=pressure_drop_pa,
        packing_pressure_pa=limit(packing.packing_pressure_kpa),
        resin_limit_pa=limit(packing.lot.resin.pressure_limit_kpa),
        hardware_rating_pa=limit(packing.column.pressure_rating_kpa),
    )
