"""Recompute beds: traces are sent out in order and not too far ahead, what comes back is kept at once.

Reading, keeping and letting results count are short transactions of their own, so that a server goes on
logging meanwhile, and what was killed goes on where it was.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import TypeVar

from sqlalchemy.orm import Session, sessionmaker

from beadline.features.recomputations import service
from beadline.features.recomputations.jobs.pool import Workers
from beadline.features.recomputations.schemas import BedReport, Outcome, PulseOutcome, Task
from beadline.features.transitions.schemas import Reference
from beadline.features.transitions.service import EARLY_CYCLES
from beadline.store.tables import User

Item = TypeVar("Item")
Told = Callable[[BedReport], None]


@dataclass(frozen=True, slots=True)
class Means:
    """What a recomputation works with.

    Attributes
    ----------
    workers : Workers
        Where traces are analysed.
    by : User
        Who answers for it; detached.
    at_once : int
        How many cycles are read, or kept, in one transaction.
    """

    new_session: sessionmaker[Session]
    new_reading_session: sessionmaker[Session]
    workers: Workers
    by: User
    now: Callable[[], datetime]
    at_once: int = 16


def run(means: Means, recomputation_id: int, *, told: Told) -> bool:
    """Recompute the beds that are left; return whether all are finished, by this process or another."""
    while True:
        with means.new_reading_session() as holding:  # open while the bed is worked on: it is held
            packing_id = service.next_bed(holding, recomputation_id)
            if packing_id is None:
                break
            told(_recompute(means, recomputation_id, packing_id))
    with means.new_session.begin() as session:
        return service.end_if_done(session, recomputation_id, by=means.by, at=means.now())


def rehearse(means: Means, *, column: str, reason: str, told: Told) -> None:
    """Do all that `run` would do, one bed at a time, and undo it."""
    with means.new_reading_session() as session:
        beds = service.beds_of(session, column)
    for tag, packing_id in beds:
        outcomes = list(_outcomes(means, None, packing_id))
        pulse_outcomes = _of_pulse_tests(means, packing_id)
        with means.new_session() as session:
            made = service.begin(session, column=tag, reason=reason, by=means.by, at=means.now())
            service.keep(session, made.id, packing_id, outcomes, at=means.now())
            report = service.switch(session, made.id, packing_id, pulse_outcomes, by=means.by, at=means.now())
            session.rollback()
        if report is not None:
            told(report)


def _recompute(means: Means, recomputation_id: int, packing_id: int) -> BedReport:
    pulse_outcomes = _of_pulse_tests(means, packing_id)
    while True:
        for outcomes in _batched(_outcomes(means, recomputation_id, packing_id), means.at_once):
            with means.new_session.begin() as session:
                service.keep(session, recomputation_id, packing_id, outcomes, at=means.now())
        with means.new_session.begin() as session:
            report = service.switch(
                session, recomputation_id, packing_id, pulse_outcomes, by=means.by, at=means.now()
            )
        if report is not None:
            return report


def _of_pulse_tests(means: Means, packing_id: int) -> list[PulseOutcome]:
    """Analyse a bed's pulse tests, which are few; what is logged meanwhile is by the present method."""
    with means.new_reading_session() as session:
        tasks = service.pulse_tasks(session, packing_id)
    return [
        task
        if isinstance(task, PulseOutcome)
        else means.workers.executor.submit(service.analyse_pulse, task).result()
        for task in tasks
    ]


def _outcomes(means: Means, recomputation_id: int | None, packing_id: int) -> Iterator[Outcome]:
    """Analyse what is left of a bed: the early cycles, then those that are compared with them.

    Early cycles after the last one of the reference are compared with it too, as when they were logged; so
    they are analysed twice.
    """
    with means.new_reading_session() as session:
        left = service.left_to_do(session, recomputation_id, packing_id)
    early = [cycle_id for cycle_id, number in left if number in EARLY_CYCLES]
    later = [cycle_id for cycle_id, number in left if number not in EARLY_CYCLES]
    first = list(_analysed(means, packing_id, early, {}))
    with means.new_reading_session() as session:
        references = service.early_curves(session, packing_id, recomputation_id, first)
    starts = min((one.after_cycle for one in references.values()), default=EARLY_CYCLES[-1])
    yield from (one for one in first if one.number <= starts)
    again = [one.cycle_id for one in first if one.number > starts]
    yield from _analysed(means, packing_id, [*again, *later], references)


def _analysed(
    means: Means, packing_id: int, cycle_ids: Sequence[int], references: Mapping[str, Reference]
) -> Iterator[Outcome]:
    under_way: deque[Future[Outcome]] = deque()
    for task in _tasks(means, packing_id, cycle_ids):
        if isinstance(task, Outcome):
            yield task
            continue
        sent = service.with_references(task, references)
        under_way.append(means.workers.executor.submit(service.analyse, sent))
        if len(under_way) >= means.at_once + 2 * means.workers.many:
            yield under_way.popleft().result()
    while under_way:
        yield under_way.popleft().result()


def _tasks(means: Means, packing_id: int, cycle_ids: Sequence[int]) -> Iterator[Task | Outcome]:
    for some in _batched(cycle_ids, means.at_once):
        with means.new_reading_session() as session:
            tasks = service.tasks_of(session, packing_id, some)
        yield from tasks


def _batched(items: Iterable[Item], size: int) -> Iterator[list[Item]]:
    left = iter(items)
    while some := list(islice(left, size)):
        yield some
