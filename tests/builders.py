"""Things to test with: a small bed, its library, and trace files from the physical bed model."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta

from sqlalchemy.orm import Session

from beadline.demo import layouts, pulses, runs
from beadline.demo.plant import (
    Phase,
    PlantColumn,
    PlantCycle,
    PlantLot,
    PlantPacking,
    PlantPulseTest,
    PlantResin,
    PlantStepPlan,
)
from beadline.demo.recording import TraceFile
from beadline.demo.truth import Change, Truth
from beadline.features.columns import service as columns
from beadline.features.packings import service as packings
from beadline.features.packings.service import PackingRecord
from beadline.features.resins import service as resins
from beadline.features.transitions import service as transitions
from beadline.reading import PlannedTransition
from beadline.store.tables import Column, Packing, Resin, User

SEED = 5
PACKED = datetime(2025, 1, 6, 9, tzinfo=UTC)
HEALTHY = 20  # cycles before a cracked bed cracks: the baseline is learnt, and a few cycles are in control

RESIN = PlantResin("Glasswort 65", "IEX", 65, 500, 200, voidage=0.36, bead_porosity=0.83)
SHORT_PLAN = PlantStepPlan(
    "Short polish",
    "Reedbed amylase",
    150.0,
    (
        {"name": "wash to strip", "quantity": "conductivity", "mark": "Strip", "direction": "up"},
        {"name": "strip to rinse", "quantity": "conductivity", "mark": "Rinse", "direction": "down"},
    ),
    (
        Phase("Wash", 1.5, 4.0, 7.0, log_cv=0.03),
        Phase("Strip", 2.2, 88.0, 7.0, log_cv=0.01, relative_viscosity=1.09),
        Phase("Rinse", 2.2, 4.0, 7.0, log_cv=0.01),
    ),
)
# a by-pass that carries a twentieth of the flow at 1.35 times the velocity: the bed has cracked
CRACK = (
    Change("fast_velocity", HEALTHY + 1, 1, 1.35),
    Change("fast_share", HEALTHY + 1, 1, 0.05),
)
# one that grows so slowly that the alert limit is passed some cycles before the action limit
SLOW_CRACK = (
    Change("fast_velocity", HEALTHY + 1, 1, 1.35),
    Change("fast_share", HEALTHY + 1, 10, 0.005),
)


def a_bed(
    name: str = "Plover", *, skid: str = "comma volume", changes: tuple[Change, ...] = ()
) -> PlantPacking:
    """A bed of 1.6 L in a column of 10 cm, as the bed model knows it; a trace takes milliseconds."""
    tag = f"TC-{zlib.crc32(name.encode()):08X}"
    return PlantPacking(
        key=f"{name} 1",
        story="",
        column=PlantColumn(name, tag, "self-packing", "Test hall", 100, 600, 30, skid),
        number=1,
        lot=PlantLot(f"GW65-{name}", RESIN.name, date(2025, 1, 3)),
        resin=RESIN,
        step_plan=SHORT_PLAN,
        packed_at=PACKED,
        unpacked_at=None,
        bed_height_mm=200,
        slurry_percent=50,
        slurry_volume_l=3.6,
        compression_factor=1.15,
        packing_flow_cm_h=250,
        packing_pressure_kpa=200,
        cycle_limit=150,
        pool_volume_l=2.4,
        pool_tank_l=2.6,
        cycles=(),
        pulse_tests=(),
        truth=Truth(),
        changes=changes,
    )


def a_cracking_bed(name: str = "Plover", *, skid: str = "comma volume") -> PlantPacking:
    """The same bed, which cracks after `HEALTHY` cycles."""
    return a_bed(name, skid=skid, changes=CRACK)


def make_cycle_file(bed: PlantPacking, number: int, *, skid: str = "") -> TraceFile:
    """The trace of a cycle as the bed's skid writes it; the same number gives the same bytes."""
    started_at = PACKED + timedelta(days=number)
    recording = runs.cycle_recording(bed, PlantCycle(number, f"B-{number:03d}", started_at, ""), seed=SEED)
    stem = f"{bed.column.name.lower()}_cycle_{number:03d}"
    return layouts.write(recording, skid=skid or bed.column.skid, stem=stem)


def make_pulse_file(bed: PlantPacking, *, after_cycle: int = 0, injection_ml: float = 16.0) -> TraceFile:
    """The trace of a tracer injection of 1 % of the bed."""
    test = PlantPulseTest(1, after_cycle, PACKED + timedelta(hours=3), "salt", injection_ml, 60.0)
    recording = pulses.pulse_recording(bed, test, seed=SEED)
    return layouts.write(recording, skid=bed.column.skid, stem=f"{bed.column.name.lower()}_pulse")


def make_column(session: Session, *, by: User, bed: PlantPacking | None = None) -> Column:
    """Record the hardware of a bed."""
    column = (bed or a_bed()).column
    return columns.make_column(
        session,
        asset_tag=column.asset_tag,
        name=column.name,
        kind=column.kind,
        area=column.area,
        inner_diameter_mm=column.inner_diameter_mm,
        pressure_rating_kpa=column.pressure_rating_kpa,
        hold_up_ml=column.hold_up_ml,
        by=by,
        at=PACKED,
    )


def make_resin(session: Session, *, by: User) -> Resin:
    """Record the resin of all test beds, or return it if it is recorded."""
    known = next((one for one in resins.every(session) if one.name == RESIN.name), None)
    return known or resins.make_resin(
        session,
        name=RESIN.name,
        chemistry=RESIN.chemistry,
        bead_diameter_um=RESIN.bead_diameter_um,
        pressure_limit_kpa=RESIN.pressure_limit_kpa,
        cycle_limit=RESIN.cycle_limit,
        by=by,
        at=PACKED,
    )


def make_packing(session: Session, bed: PlantPacking | None = None, *, by: User) -> Packing:
    """Record column, resin, lot, step plan and packing of a bed."""
    bed = bed or a_bed()
    column = make_column(session, by=by, bed=bed)
    lot = resins.make_lot(
        session, resin=make_resin(session, by=by), lot_number=bed.lot.lot_number, by=by, at=PACKED
    )
    area_m2 = bed.bed_volume_m3 / (bed.bed_height_mm * 1e-3)
    plan = transitions.make_plan(
        session,
        name=f"{bed.step_plan.name}, {bed.column.name}",
        product=bed.step_plan.product,
        transitions=planned(bed.step_plan),
        reference_flow_m3_s=bed.step_plan.reference_velocity_cm_h * 1e-2 / 3600 * area_m2,
        by=by,
        at=PACKED,
    )
    record = PackingRecord(
        bed_height_mm=bed.bed_height_mm,
        cycle_limit=bed.cycle_limit,
        pool_volume_l=bed.pool_volume_l,
        pool_tank_l=bed.pool_tank_l,
    )
    made = packings.record_packing(
        session, column=column, lot=lot, step_plan=plan, packed_at=PACKED, record=record, by=by, at=PACKED
    )
    return packings.get(session, made.id)


def planned(plan: PlantStepPlan = SHORT_PLAN) -> Sequence[PlannedTransition]:
    """The transitions of a plan."""
    return [PlannedTransition(**one) for one in plan.transitions]  # type: ignore[arg-type]
