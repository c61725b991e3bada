"""Load the demo plant through the same services that a real plant uses."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Mapping
from concurrent.futures import Executor, ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import cache, partial
from multiprocessing import get_context
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session, sessionmaker

from beadline.demo import library, people
from beadline.demo.files import cycle_file, pulse_file
from beadline.demo.plant import Plant, PlantPacking
from beadline.demo.scenario import load_plant
from beadline.features.alerts import service as alerts
from beadline.features.cycles.schemas import RunFacts
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.intake.schemas import AnalysedRun
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import TestFacts
from beadline.features.traces import service as traces
from beadline.features.transitions.service import REFERENCE_CYCLES
from beadline.kit import places
from beadline.reading import PlannedTransition
from beadline.store.tables import Packing, User

RUN_TAKES = timedelta(hours=7)
Curve = NDArray[np.float64]
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class _Order:
    """A run to be made and analysed in a worker process; small enough to send."""

    today: date
    key: str
    number: int
    last_profile: Mapping[str, Any] | None
    references: Mapping[str, Curve] | None


@dataclass(frozen=True, slots=True)
class _Run:
    """A run as it comes back."""

    key: str
    number: int
    filename: str
    content: bytes
    analysed: AnalysedRun


def load(
    new_session: sessionmaker[Session],
    *,
    today: date,
    progress: Progress,
    only: Collection[str] | None = None,
) -> None:
    """Put the plant into an empty database; all of it or, if this fails, nothing.

    With `only`, the packings with these keys alone.
    """
    plant = _plant(today)
    if only is not None:
        plant = replace(plant, packings=tuple(p for p in plant.packings if p.key in only))
    ordered = sorted(((p, c) for p in plant.packings for c in p.cycles), key=lambda pair: pair[1].started_at)
    with new_session.begin() as session, _pool() as pool:
        staff = people.make(session, plant, at=min(p.packed_at for p in plant.packings))
        engineer = staff[people.ENGINEER]
        library.make(session, plant, by=engineer, at=min(p.packed_at for p in plant.packings))
        beds = _record_packings(session, plant, engineer)
        for done, run in enumerate(
            _runs(pool, plant, today, [(p.key, c.number) for p, c in ordered]), start=1
        ):
            _record_run(session, plant.packing(run.key), beds[run.key], run, staff)
            progress(done, len(ordered))
        for bed in beds.values():
            _judge(session, bed, engineer)


def _pool() -> Executor:
    return ProcessPoolExecutor(max(1, min(4, os.cpu_count() or 1)), mp_context=get_context("spawn"))


@cache
def _plant(today: date) -> Plant:
    return load_plant(places.folder("seed_data"), today=today)


def _record_packings(session: Session, plant: Plant, engineer: User) -> dict[str, Packing]:
    """Record packings with their pulse tests; return them by key."""
    beds = {}
    for packing in sorted(plant.packings, key=lambda p: p.packed_at):
        row = library.record_packing(session, packing, by=engineer)
        whole = packings.get(session, row.id)
        for test in packing.pulse_tests:
            file = pulse_file(plant, packing, test)
            facts = TestFacts(
                performed_at=test.performed_at, injection_ml=test.injection_ml, tracer=test.tracer
            )
            analysed = pulse_tests.analyse(
                file.content, filename=file.filename, bed=packings.bed_of(whole), facts=facts
            )
            at = test.performed_at + timedelta(hours=2)
            trace = traces.keep(session, file.content, filename=file.filename, by=engineer, at=at)
            pulse_tests.record(
                session, packing=whole, trace=trace, analysed=analysed, facts=facts, by=engineer, at=at
            )
        if packing.unpacked_at is not None:
            packings.unpack(
                session, whole, unpacked_at=packing.unpacked_at, by=engineer, at=packing.unpacked_at
            )
        beds[packing.key] = whole
    return beds


def _runs(pool: Executor, plant: Plant, today: date, wanted: list[tuple[str, int]]) -> Iterator[_Run]:
    """Make and analyse all runs; the first of each bed come first: later ones are read and compared so."""
    keys = [p.key for p in plant.packings if p.cycles]
    begun = dict(zip(keys, pool.map(partial(_begin, today), keys), strict=True))
    profiles = {key: runs[-1].analysed.profile.to_dict() for key, runs in begun.items()}
    references = {key: _references(runs) for key, runs in begun.items()}
    first = {(key, run.number): run for key, runs in begun.items() for run in runs}
    orders = [
        _Order(today, key, n, profiles[key], references[key]) for key, n in wanted if (key, n) not in first
    ]
    later = pool.map(_make, orders, chunksize=8)
    for key in wanted:
        yield first.pop(key) if key in first else next(later)


def _begin(today: date, key: str) -> list[_Run]:
    """Make a bed's first runs, each read as the one before was; runs in a worker process."""
    runs: list[_Run] = []
    for cycle in _plant(today).packing(key).cycles[: REFERENCE_CYCLES + 3]:
        profile = runs[-1].analysed.profile.to_dict() if runs else None
        runs.append(_make(_Order(today, key, cycle.number, profile, None)))
    return runs


def _references(runs: list[_Run]) -> dict[str, Curve]:
    """Return the mean curve of the first usable readings of each transition, as the service would."""
    curves: dict[str, list[Curve]] = {}
    for run in runs:
        for one in run.analysed.transitions:
            if one.usable and one.result is not None:
                curves.setdefault(one.plan.name, []).append(one.result.fraction)
    return {
        name: np.mean(found[:REFERENCE_CYCLES], axis=0)
        for name, found in curves.items()
        if len(found) >= REFERENCE_CYCLES
    }


def _make(order: _Order) -> _Run:
    """Make a run's file and analyse it; runs in a worker process."""
    plant = _plant(order.today)
    packing = plant.packing(order.key)
    file = cycle_file(plant, packing, packing.cycles[order.number - 1])
    analysed = intake.analyse(
        file.content,
        filename=file.filename,
        bed=_bed(packing),
        plan=tuple(PlannedTransition(**planned) for planned in packing.step_plan.transitions),  # type: ignore[arg-type]
        last_profile=order.last_profile,
        references=order.references,
    )
    return _Run(order.key, order.number, file.filename, file.content, analysed)


def _bed(packing: PlantPacking) -> Bed:
    area_m2 = packing.bed_volume_m3 / (packing.bed_height_mm * 1e-3)
    return Bed(
        bed_volume_m3=packing.bed_volume_m3,
        bed_height_m=packing.bed_height_mm * 1e-3,
        cross_section_m2=area_m2,
        bead_diameter_m=packing.resin.bead_diameter_um * 1e-6,
        hold_up_m3=packing.column.hold_up_ml * 1e-6,
        reference_flow_m3_s=packing.step_plan.reference_velocity_cm_h * 1e-2 / 3600 * area_m2,
    )


def _record_run(
    session: Session, packing: PlantPacking, bed: Packing, run: _Run, staff: Mapping[str, User]
) -> None:
    cycle = packing.cycles[run.number - 1]
    intake.record(
        session,
        bed,
        run.content,
        run.analysed,
        filename=run.filename,
        facts=RunFacts(batch=cycle.batch, started_at=cycle.started_at, number=cycle.number),
        came_by="demo",
        by=staff[people.sign_in_name(cycle.operator)],
        at=cycle.started_at + RUN_TAKES,
        judge=False,
    )


def _judge(session: Session, bed: Packing, engineer: User) -> None:
    """Judge a bed's whole life; each alert is raised at the time of its run, by whoever logged that."""
    for one in drift.replay(session, bed, by=engineer, at=bed.packed_at):
        alerts.follow(session, bed, [one], by=one.cycle.logged_by, at=one.cycle.logged_at)
