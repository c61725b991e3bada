"""Make the demo plant's traces and analyse them, in worker processes."""

from __future__ import annotations

import math
import os
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from dataclasses import dataclass
from datetime import date
from functools import cache
from multiprocessing import get_context
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.demo.files import cycle_file, pulse_file
from beadline.demo.plant import Plant, PlantPacking
from beadline.demo.recording import TraceFile
from beadline.demo.scenario import load_plant
from beadline.features.intake import service as intake
from beadline.features.intake.schemas import AnalysedRun
from beadline.features.packings.schemas import Bed
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import AnalysedTest, TestFacts
from beadline.features.transitions.service import REFERENCE_CYCLES
from beadline.kit import places
from beadline.reading import PlannedTransition

Curve = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class PulseRun:
    """A pulse test as it comes back."""

    facts: TestFacts
    file: TraceFile
    analysed: AnalysedTest


@dataclass(frozen=True, slots=True)
class Run:
    """A run as it comes back."""

    key: str
    number: int
    file: TraceFile
    analysed: AnalysedRun


@dataclass(frozen=True, slots=True)
class _Order:
    """A run to be made and analysed; small enough to send."""

    today: date
    key: str
    number: int
    last_profile: Mapping[str, Any] | None
    references: Mapping[str, Curve] | None


@cache
def plant(today: date) -> Plant:
    """Return the demo plant with its dates counted back from today."""
    return load_plant(places.folder("seed_data"), today=today)


def pool() -> Executor:
    """Start workers: one a core, four at most."""
    return ProcessPoolExecutor(max(1, min(4, os.cpu_count() or 1)), mp_context=get_context("spawn"))


def tests(
    workers: Executor, packings: Sequence[PlantPacking], today: date
) -> dict[str, Future[list[PulseRun]]]:
    """Have the pulse tests of each packing made and analysed; return what will come by key."""
    return {p.key: workers.submit(_tests, today, p.key) for p in packings}


def first_runs(
    workers: Executor, packings: Sequence[PlantPacking], today: date
) -> dict[str, Future[list[Run]]]:
    """Have the first runs of each packing made and analysed; return what will come by key."""
    return {p.key: workers.submit(_begin, today, p.key) for p in packings if p.cycles}


def runs(
    workers: Executor, begun: Mapping[str, Future[list[Run]]], wanted: Sequence[tuple[str, int]], today: date
) -> Iterator[Run]:
    """Yield the runs in this order; those after a bed's first ones are read and compared as those were."""
    known = {key: future.result() for key, future in begun.items()}
    profiles = {key: made[-1].analysed.profile.to_dict() for key, made in known.items()}
    references = {key: _references(made) for key, made in known.items()}
    first = {(key, run.number): run for key, made in known.items() for run in made}
    orders = [
        _Order(today, key, n, profiles[key], references[key]) for key, n in wanted if (key, n) not in first
    ]
    later = workers.map(_make, orders, chunksize=8)
    for key in wanted:
        yield first.pop(key) if key in first else next(later)


def _references(runs: list[Run]) -> dict[str, Curve]:
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


def _tests(today: date, key: str) -> list[PulseRun]:
    """Make and analyse a packing's pulse tests; runs in a worker process."""
    packing = plant(today).packing(key)
    made = []
    for test in packing.pulse_tests:
        file = pulse_file(plant(today), packing, test)
        facts = TestFacts(performed_at=test.performed_at, injection_ml=test.injection_ml, tracer=test.tracer)
        analysed = pulse_tests.analyse(file.content, filename=file.filename, bed=_bed(packing), facts=facts)
        made.append(PulseRun(facts, file, analysed))
    return made


def _begin(today: date, key: str) -> list[Run]:
    """Make a bed's first runs, each read as the one before was; runs in a worker process."""
    made: list[Run] = []
    for cycle in plant(today).packing(key).cycles[: REFERENCE_CYCLES + 3]:
        profile = made[-1].analysed.profile.to_dict() if made else None
        made.append(_make(_Order(today, key, cycle.number, profile, None)))
    return made


def _make(order: _Order) -> Run:
    """Make a run's file and analyse it; runs in a worker process."""
    packing = plant(order.today).packing(order.key)
    file = cycle_file(plant(order.today), packing, packing.cycles[order.number - 1])
    analysed = intake.analyse(
        file.content,
        filename=file.filename,
        bed=_bed(packing),
        plan=tuple(PlannedTransition(**planned) for planned in packing.step_plan.transitions),  # type: ignore[arg-type]
        last_profile=order.last_profile,
        references=order.references,
    )
    return Run(order.key, order.number, file, analysed)


def _bed(packing: PlantPacking) -> Bed:
    """Return the bed's geometry as `packings.bed_of` will of the record."""
    area_m2 = math.pi * (packing.column.inner_diameter_mm * 1e-3) ** 2 / 4
    height_m = packing.bed_height_mm * 1e-3
    return Bed(
        bed_volume_m3=area_m2 * height_m,
        bed_height_m=height_m,
        cross_section_m2=area_m2,
        bead_diameter_m=packing.resin.bead_diameter_um * 1e-6,
        hold_up_m3=packing.column.hold_up_ml * 1e-6,
        reference_flow_m3_s=packing.step_plan.reference_velocity_cm_h * 1e-2 / 3600 * area_m2,
    )
