"""Columns, resins, step plans and packings of the demo plant, recorded as an engineer would."""

from __future__ import annotations

import math
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.demo.plant import Plant, PlantColumn, PlantPacking
from beadline.features.columns import service as columns
from beadline.features.packings import service as packings
from beadline.features.packings.service import PackingRecord
from beadline.features.resins import queries as resin_queries
from beadline.features.resins import service as resins
from beadline.features.transitions import service as transitions
from beadline.reading import PlannedTransition
from beadline.store.tables import Packing, User


def make(session: Session, plant: Plant, *, by: User, at: datetime) -> None:
    """Record columns, resins and lots."""
    for column in plant.columns:
        columns.make_column(
            session,
            asset_tag=column.asset_tag,
            name=column.name,
            kind=column.kind,
            area=column.area,
            inner_diameter_mm=column.inner_diameter_mm,
            pressure_rating_kpa=column.pressure_rating_kpa,
            hold_up_ml=column.hold_up_ml,
            by=by,
            at=at,
        )
    made = {}
    for resin in plant.resins:
        made[resin.name] = resins.make_resin(
            session,
            name=resin.name,
            chemistry=resin.chemistry,
            bead_diameter_um=resin.bead_diameter_um,
            pressure_limit_kpa=resin.pressure_limit_kpa,
            cycle_limit=resin.cycle_limit,
            by=by,
            at=at,
        )
    for lot in plant.lots:
        resins.make_lot(
            session,
            resin=made[lot.resin],
            lot_number=lot.lot_number,
            received_on=lot.received_on,
            by=by,
            at=at,
        )


def record_packing(session: Session, packing: PlantPacking, *, by: User) -> Packing:
    """Record a packing on its day, with a step plan for the process at this column's size."""
    column = columns.find(session, packing.column.asset_tag)
    lot = resin_queries.lot_numbered(session, packing.lot.lot_number)
    if lot is None:
        raise KeyError(f"The demo's lot {packing.lot.lot_number} was not recorded.")
    velocity_m_s = packing.step_plan.reference_velocity_cm_h * 1e-2 / 3600
    plan = transitions.make_plan(
        session,
        name=f"{packing.step_plan.name}, {packing.column.name}",
        product=packing.step_plan.product,
        transitions=[PlannedTransition(**planned) for planned in packing.step_plan.transitions],  # type: ignore[arg-type]
        reference_flow_m3_s=velocity_m_s * _cross_section_m2(packing.column),
        by=by,
        at=packing.packed_at,
    )
    present = packings.in_column(session, column)
    if present is not None:
        packings.unpack(session, present, unpacked_at=packing.packed_at, by=by, at=packing.packed_at)
    record = PackingRecord(
        **{name: getattr(packing, name) for name in PackingRecord.__slots__ if name != "note"}
    )
    return packings.record_packing(
        session,
        column=column,
        lot=lot,
        step_plan=plan,
        packed_at=packing.packed_at,
        record=record,
        by=by,
        at=packing.packed_at,
    )


def _cross_section_m2(column: PlantColumn) -> float:
    return math.pi * (column.inner_diameter_mm * 1e-3) ** 2 / 4
