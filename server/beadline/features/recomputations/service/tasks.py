"""What is left to be analysed of a bed, ready to be sent, and the references that it is compared with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline.features.packings import service as packings
from beadline.features.recomputations import queries
from beadline.features.recomputations.schemas import Outcome, Task
from beadline.features.traces import service as traces
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import Reference
from beadline.kit.errors import Conflict
from beadline.reading import PlannedTransition
from beadline.store.tables import Cycle, Packing, Transition

Floats = NDArray[np.float64]


def left_to_do(session: Session, recomputation_id: int | None, packing_id: int) -> list[tuple[int, int]]:
    """Return id and number of the cycles of a bed that were not analysed yet, in order; None: all."""
    return [(one.id, one.number) for one in queries.left_to_do(session, recomputation_id, packing_id)]


def tasks_of(session: Session, packing_id: int, cycle_ids: Sequence[int]) -> list[Task | Outcome]:
    """Return some cycles of a bed with their traces, checked against their hashes.

    One whose trace is harmed comes as the outcome that says so.
    """
    packing = packings.get(session, packing_id)
    rows: dict[int, list[Transition]] = {}
    for row in transition_queries.of_cycles(session, cycle_ids):
        rows.setdefault(row.cycle_id, []).append(row)
    cycles = queries.cycles(session, cycle_ids)
    return [_task(session, packing, one, rows.get(one.id, [])) for one in cycles]


def _task(session: Session, packing: Packing, cycle: Cycle, rows: Sequence[Transition]) -> Task | Outcome:
    counts = cycle.excluded_at is None
    try:
        trace = traces.content_of(session, cycle.trace_id)
    except Conflict as error:
        return Outcome(
            cycle_id=cycle.id, number=cycle.number, counts=counts, conditions={}, why=error.message
        )
    stored = tuple(PlannedTransition(**row.plan) for row in rows)
    return Task(
        cycle_id=cycle.id,
        number=cycle.number,
        counts=counts,
        content=trace.content,
        filename=trace.filename,
        bed=packings.bed_of(packing),
        plan=stored or transitions.planned(packing.step_plan),
        profile=cycle.profile,
        references={},
    )


def early_curves(
    session: Session, packing_id: int, recomputation_id: int | None, outcomes: Iterable[Outcome]
) -> dict[str, Reference]:
    """Return the reference of each transition: from what was just analysed, else from what is stored.

    Curves are taken as single floats, as they are stored, so that it matters not which of both it was.
    """
    found: dict[tuple[int, str], Floats | None] = {}
    for number, row in transition_queries.curves(
        session, packing_id, cycles=transitions.EARLY_CYCLES, excluded=False
    ):
        found[number, row.name] = row.fraction
    if recomputation_id is not None:
        for number, row in queries.early(session, recomputation_id, packing_id, transitions.EARLY_CYCLES):
            found[number, row.name] = row.fraction if row.usable else None
    for outcome in outcomes:
        for one in outcome.transitions:
            curve = one.result.fraction if one.usable and one.result is not None and outcome.counts else None
            single = None if curve is None else np.asarray(curve, np.float32).astype(np.float64)
            found[outcome.number, one.plan.name] = single
    return transitions.references_of((number, name, found[number, name]) for number, name in sorted(found))


def with_references(task: Task, references: Mapping[str, Reference]) -> Task:
    """Return a task with the references that were known before its cycle."""
    before = {
        name: reference.fraction
        for name, reference in references.items()
        if reference.after_cycle < task.number
    }
    return replace(task, references=before)
