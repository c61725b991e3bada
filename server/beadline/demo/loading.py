"""Load the demo plant through the same services that a real plant uses."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from concurrent.futures import Future
from dataclasses import replace
from datetime import date, timedelta

from sqlalchemy.orm import Session, sessionmaker

from beadline.demo import library, making, people, telling
from beadline.demo.plant import Plant, PlantPacking
from beadline.features.alerts import service as alerts
from beadline.features.bed_events import service as bed_events
from beadline.features.bed_events.schemas import EventFacts
from beadline.features.cycles.schemas import RunFacts
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.traces import service as traces
from beadline.store.tables import Packing, User

RUN_TAKES = timedelta(hours=7)
Progress = Callable[[int, int], None]


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
    plant = making.plant(today)
    if only is not None:
        plant = replace(plant, packings=tuple(p for p in plant.packings if p.key in only))
    ordered = sorted(((p, c) for p in plant.packings for c in p.cycles), key=lambda pair: pair[1].started_at)
    with new_session.begin() as session, making.pool() as workers:
        tests = making.tests(workers, plant.packings, today)
        begun = making.first_runs(workers, plant.packings, today)
        staff = people.make(session, plant, at=min(p.packed_at for p in plant.packings))
        engineer = staff[people.ENGINEER]
        library.make(session, plant, by=engineer, at=min(p.packed_at for p in plant.packings))
        telling.make(session, by=engineer, at=min(p.packed_at for p in plant.packings))
        beds = _record_packings(session, plant, tests, engineer)
        runs = making.runs(workers, begun, [(p.key, c.number) for p, c in ordered], today)
        for done, run in enumerate(runs, start=1):
            _record_run(session, plant.packing(run.key), beds[run.key], run, staff)
            progress(done, len(ordered))
        for bed in beds.values():
            _judge(session, bed, engineer)


def _record_packings(
    session: Session, plant: Plant, tests: Mapping[str, Future[list[making.PulseRun]]], engineer: User
) -> dict[str, Packing]:
    """Record packings with their pulse tests and what was done to them; return them by key."""
    beds = {}
    for packing in sorted(plant.packings, key=lambda p: p.packed_at):
        row = library.record_packing(session, packing, by=engineer)
        whole = packings.get(session, row.id)
        for test in tests[packing.key].result():
            _record_test(session, whole, test, engineer)
        for event in packing.events:
            facts = EventFacts(kind=event.kind, happened_at=event.happened_at, note=event.note)
            bed_events.note(session, whole, facts, by=engineer, at=event.happened_at + timedelta(hours=1))
        if packing.unpacked_at is not None:
            packings.unpack(
                session, whole, unpacked_at=packing.unpacked_at, by=engineer, at=packing.unpacked_at
            )
        beds[packing.key] = whole
    return beds


def _record_test(session: Session, bed: Packing, test: making.PulseRun, engineer: User) -> None:
    at = test.facts.performed_at + timedelta(hours=2)
    trace = traces.keep(session, test.file.content, filename=test.file.filename, by=engineer, at=at)
    pulse_tests.record(
        session, packing=bed, trace=trace, analysed=test.analysed, facts=test.facts, by=engineer, at=at
    )


def _record_run(
    session: Session, packing: PlantPacking, bed: Packing, run: making.Run, staff: Mapping[str, User]
) -> None:
    cycle = packing.cycles[run.number - 1]
    intake.record(
        session,
        bed,
        run.file.content,
        run.analysed,
        filename=run.file.filename,
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
