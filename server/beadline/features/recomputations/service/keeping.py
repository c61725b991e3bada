"""Keep new results beside the old ones; they do not count until their whole bed is analysed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.packings import queries as packing_queries
from beadline.features.recomputations import queries
from beadline.features.recomputations.schemas import Outcome
from beadline.features.recomputations.service import comparing
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.kit.errors import Conflict
from beadline.science import transition as science
from beadline.store.tables import RecomputedCycle, Transition


def keep(
    session: Session, recomputation_id: int, packing_id: int, outcomes: Sequence[Outcome], *, at: datetime
) -> None:
    """Store what came of some cycles of a bed; a cycle whose outcome is known already is left as it is.

    Raises
    ------
    Conflict
        If a worker on another machine analysed by another version of the method.
    """
    _refuse_other_versions(outcomes)
    packing_queries.lock(session, packing_id)  # two processes may have analysed the same cycle
    ids = [one.cycle_id for one in outcomes]
    done = queries.known(session, recomputation_id, ids)
    present = {(row.cycle_id, row.name): row for row in transition_queries.of_cycles(session, ids)}
    newest = queries.newest_revisions(session, ids)
    conditions = {cycle.id: cycle.conditions for cycle in queries.cycles(session, ids)}
    for one in outcomes:
        if one.cycle_id in done:
            continue
        rows = [] if one.why else _new_rows(one, present, at)
        for row in rows:
            row.revision = newest.get((row.cycle_id, row.name), 0) + 1
            row.superseded, row.recomputation_id = True, recomputation_id
        session.add_all(rows)
        other = not one.why and comparing.numbers_moved(conditions[one.cycle_id], one.conditions)
        session.add(
            RecomputedCycle(
                recomputation_id=recomputation_id,
                cycle_id=one.cycle_id,
                outcome="skipped" if one.why else "new" if rows or other else "unchanged",
                why=one.why,
                conditions=dict(one.conditions),
            )
        )
    session.flush()  # what is left to do is asked for next


def _new_rows(one: Outcome, present: Mapping[tuple[int, str], Transition], at: datetime) -> list[Transition]:
    rows = transitions.rows_of(one.cycle_id, one.transitions, at=at)
    return [row for row in rows if not comparing.same(present.get((row.cycle_id, row.name)), row)]


def _refuse_other_versions(outcomes: Sequence[Outcome]) -> None:
    results = [found.result for one in outcomes for found in one.transitions if found.result is not None]
    other = next((one.version for one in results if one.version != science.VERSION), None)
    if other is not None:
        raise Conflict(
            f"A worker analysed by version {other} of the method; this is version {science.VERSION}.",
            mend="Install the same version of Beadline on every worker, then start again.",
        )
