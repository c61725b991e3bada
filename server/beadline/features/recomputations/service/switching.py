"""Let the new results of a bed count: the old ones stay, the life is judged anew, a report is made."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.packings import queries as packing_queries
from beadline.features.packings import service as packings
from beadline.features.recomputations import queries
from beadline.features.recomputations.schemas import BedReport, PulseOutcome
from beadline.features.recomputations.service import reporting
from beadline.features.recomputations.service.pulse_tests import replace_pulse_tests
from beadline.features.records import service as records
from beadline.features.transitions import queries as transition_queries
from beadline.store.tables import Packing, RecomputedBed, RecomputedCycle, User


def switch(
    session: Session,
    recomputation_id: int,
    packing_id: int,
    pulse_outcomes: Sequence[PulseOutcome] = (),
    *,
    by: User,
    at: datetime,
) -> BedReport | None:
    """Let the new results of a bed count, all at once; return the report.

    None if a run was logged meanwhile, which has to be analysed first.
    """
    packing_queries.lock(session, packing_id)  # no run is judged meanwhile
    bed = queries.bed(session, recomputation_id, packing_id)
    packing = packings.get(session, packing_id)
    if bed.finished_at is not None:
        return reporting.of(packing, bed.report)
    if queries.left_to_do(session, recomputation_id, packing_id):
        return None
    pairs = _pairs(session, recomputation_id, packing_id)
    outcomes = queries.outcomes(session, recomputation_id, packing_id)
    before = _standing(session, packing)
    tests = replace_pulse_tests(session, recomputation_id, packing, pulse_outcomes, at=at)
    if _replace(session, packing_id, pairs, outcomes) or any(one["new"] for one in tests):
        _judge_anew(session, packing, by=by, at=at)
    after = _standing(session, packing)
    cycles = {one.id: one.number for one in cycle_queries.of_packing(session, packing_id)}
    voided, typed = queries.uncounted_cycles(session, packing_id)
    bed.report = reporting.report(pairs, outcomes, before, after, cycles=cycles) | {
        "voided": voided,
        "typed": typed,
        "alerts_followed": packing.unpacked_at is None,
        "pulse_tests": tests,
    }
    bed.finished_at = at
    _record(session, packing, bed, by=by, at=at)
    session.flush()  # whoever asks next finds it finished
    return reporting.of(packing, bed.report)


def _pairs(session: Session, recomputation_id: int, packing_id: int) -> list[reporting.Pair]:
    """Return each new result that is to count with the present one that it takes the place of."""
    present = {
        (row.cycle_id, row.name): row
        for row in transition_queries.of_packing(session, packing_id)
        if row.recomputation_id != recomputation_id
    }
    counted = {one.id for one in cycle_queries.of_packing(session, packing_id)}
    new = queries.waiting(session, recomputation_id, packing_id)
    return [(present.get((row.cycle_id, row.name)), row) for row in new if row.cycle_id in counted]


def _standing(session: Session, packing: Packing) -> reporting.Standing:
    session.flush()  # alerts and judgements are read as they stand now
    standing = drift_queries.bed_state(session, packing.id)
    judged = drift_queries.of_packing(session, packing.id)
    cycles = cycle_queries.of_packing(session, packing.id)
    return reporting.Standing(
        condition=standing.condition if standing is not None else "",
        verdicts={one.number: drift.verdict_of(one, judged.get(one.id)) for one in cycles},
        alerts={
            one.id: (one.level, one.returned, one.raised_by_cycle.number, one.headline)
            for one in alerts.of_bed(session, packing)
        },
    )


def _replace(
    session: Session, packing_id: int, pairs: Sequence[reporting.Pair], outcomes: Sequence[RecomputedCycle]
) -> bool:
    """Let new results and conditions count; return whether there were any."""
    for old, new in pairs:
        if old is not None:
            old.superseded = True
        new.superseded = False
    cycles = {one.id: one for one in cycle_queries.of_packing(session, packing_id)}
    for one in outcomes:
        if one.outcome == "new" and one.cycle_id in cycles:
            cycle = cycles[one.cycle_id]
            one.earlier_conditions, cycle.conditions = cycle.conditions, one.conditions
    session.flush()  # the life is judged from them
    return any(one.outcome == "new" for one in outcomes)


def _judge_anew(session: Session, packing: Packing, *, by: User, at: datetime) -> None:
    """Judge the life anew; the alerts of a bed that was unpacked stay, since nobody can act on them."""
    if packing.unpacked_at is None:
        intake.judge_anew(session, packing, by=by, at=at)
    else:
        drift.replay(session, packing, by=by, at=at)


def _record(session: Session, packing: Packing, bed: RecomputedBed, *, by: User, at: datetime) -> None:
    recomputation = queries.by_id(session, bed.recomputation_id)
    report = bed.report
    said = (
        f"Recomputed {packing.column.name}, packing {packing.number}: {report['changed']} of "
        f"{report['transitions']} results changed, {len(report['verdicts'])} verdicts"
    )
    for one in report["skipped"]:
        said += f"; cycle {one['cycle']} skipped, its old results stay"
    for one in report["pulse_tests"]:
        if one["why"]:
            said += f"; pulse test {one['test']} skipped, its old result stays"
        elif one["new"]:
            said += f"; pulse test {one['test']}: {' before, '.join(one['verdicts'])} now"
    records.write(
        session,
        by=by,
        at=at,
        did="recompute",
        thing="packing",
        thing_id=packing.id,
        said=said,
        why=recomputation.reason if recomputation else "",
        before={"methods": report["before"], "condition": report["condition"][0]},
        after={
            "methods": report["after"],
            "condition": report["condition"][1],
            "recomputation": bed.recomputation_id,
        },
    )
