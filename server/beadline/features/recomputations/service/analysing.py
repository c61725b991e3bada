"""Analyse one trace again: what worker processes run, on this machine or on another."""

from __future__ import annotations

from beadline.features.intake import service as intake
from beadline.features.intake.schemas import Unread
from beadline.features.recomputations.schemas import Outcome, Task


def analyse(task: Task) -> Outcome:
    """Analyse a task's trace as it was read and cut then, by the present method; touches no database."""
    try:
        run = intake.analyse_again(
            task.content,
            filename=task.filename,
            bed=task.bed,
            plan=task.plan,
            profile=task.profile,
            references=task.references,
        )
    except Unread as error:
        why = f"The trace can't be read any more as it was: {error.message} {error.mend}".rstrip()
        return Outcome(cycle_id=task.cycle_id, number=task.number, counts=task.counts, conditions={}, why=why)
    return Outcome(
        cycle_id=task.cycle_id,
        number=task.number,
        counts=task.counts,
        transitions=run.transitions,
        conditions=run.conditions,
    )
