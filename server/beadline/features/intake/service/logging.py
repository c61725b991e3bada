"""Read, analyse, judge, alert: a file becomes a logged run in one transaction, or leaves nothing behind."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from datetime import UTC, datetime, tzinfo

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.cycles import queries as cycle_queries
from beadline.features.cycles import service as cycles
from beadline.features.cycles.schemas import CameBy, RunFacts
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.intake.schemas import AnalysedRun, Corrections, LoggedRun
from beadline.features.intake.service import placing
from beadline.features.intake.service.preparing import Ahead, prepare
from beadline.features.notices import service as notices
from beadline.features.packings import queries as packing_queries
from beadline.features.packings import service as packings
from beadline.features.reading_profiles import service as reading_profiles
from beadline.features.traces import service as traces
from beadline.features.transitions import service as transitions
from beadline.kit.errors import Invalid
from beadline.store.tables import Alert, Cycle, Packing, Transition, User


def log_run(
    session: Session,
    packing: Packing,
    content: bytes,
    *,
    filename: str,
    facts: RunFacts,
    came_by: CameBy,
    by: User,
    at: datetime,
    zone: tzinfo = UTC,
    corrections: Corrections | None = None,
    before: Ahead | None = None,
    judge: bool = True,
) -> LoggedRun:
    """Read, analyse, record, judge and alert, all in the caller's transaction.

    What was read and analysed `before` it began is taken if that would come out the same now.

    The same file sent twice for the same bed is recorded once. Where nobody says when the run started, the
    file does if it can; times without a zone are in `zone`, the site's. With `judge` off, the caller judges
    the whole life afterwards.

    Raises
    ------
    Invalid
        If the file can't be read, or holds none of the transitions of the step plan.
    Conflict
        If the file was logged for another bed, its signals are those of a recorded run and nobody said that
        it is another one, or the cycle number is taken.
    """
    packing_queries.lock(session, packing.id)  # runs of one bed are judged one after the other
    sha256 = hashlib.sha256(content).hexdigest()
    known = cycle_queries.logged_from(session, packing.id, sha256)
    if known is not None:
        return recorded_before(session, packing, known, sha256)
    run = prepare(session, packing, content, filename=filename, corrections=corrections, before=before)
    alike = None if facts.another_run else placing.recorded_alike(session, packing, run.trace)
    if alike is not None:
        raise alike
    warning = ""
    if facts.started_at is None:
        found, warning = started_at(session, packing, run, number=facts.number, zone=zone, at=at)
        facts = replace(facts, started_at=found)
    elif facts.number is None:
        late = placing.late(session, packing, facts.started_at, zone=zone)
        warning = late.sentence if late else ""
    logged = record(
        session,
        packing,
        content,
        run,
        filename=filename,
        facts=facts,
        came_by=came_by,
        by=by,
        at=at,
        judge=judge,
    )
    return replace(logged, warnings=(warning,) if warning else ())


def started_at(
    session: Session, packing: Packing, run: AnalysedRun, *, number: int | None, zone: tzinfo, at: datetime
) -> tuple[datetime | None, str]:
    """Return when a file says that its run started, and a sentence if that can't be."""
    moment, said = possible_start(packing, run, zone=zone, at=at)
    if moment is None:
        return None, said
    newest = cycle_queries.numbered(session, packing.id, cycle_queries.newest_number(session, packing.id))
    if number is None and newest is not None and moment < newest.started_at:
        late = placing.late(session, packing, moment, zone=zone)
        said = f"The file's start lies before that of cycle {newest.number}, the newest, so it is not taken. "
        return None, said + (late.sentence if late else "")
    return moment, said


def possible_start(
    packing: Packing, run: AnalysedRun, *, zone: tzinfo, at: datetime
) -> tuple[datetime | None, str]:
    """Return when a file says that its run started if that can be of this bed, and what to say of it."""
    started, moment = run.trace.started, told_start(run, zone=zone)
    if started is None or moment is None:
        return None, ""
    if moment > at:
        return None, "The file's start is still to come, so it is not taken: check the skid's clock and zone."
    if moment < packing.packed_at - placing.PACKED_WITHIN:
        return None, "The file's start lies before this bed was packed: check the bed, and the skid's clock."
    day_only = "The file tells the day alone; the time of day is taken as 00:00."
    return moment, day_only if started.day_only else ""


def told_start(run: AnalysedRun, *, zone: tzinfo) -> datetime | None:
    """Return when a file says that its run started, whether or not that can be."""
    if run.trace.started is None:
        return None
    moment = run.trace.started.moment
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def record(
    session: Session,
    packing: Packing,
    content: bytes,
    run: AnalysedRun,
    *,
    filename: str,
    facts: RunFacts,
    came_by: CameBy,
    by: User,
    at: datetime,
    judge: bool = True,
) -> LoggedRun:
    """Record an analysed run; with `judge` off, the caller judges the whole life afterwards.

    Raises
    ------
    Invalid
        If it holds none of the transitions of the step plan.
    Conflict
        If the cycle number is taken.
    """
    refuse_without_transitions(packing, run)
    trace = traces.keep(session, content, filename=filename, by=by, at=at)
    why = f"Made with the file {filename} of {packing.column.name}, packing {packing.number}"
    kept = reading_profiles.keep(session, run.profile, why=why, by=by, at=at)
    cycle = cycles.add(
        session,
        packing=packing,
        trace=trace,
        facts=facts,
        signals_sha256=placing.signals_sha256(run.trace),
        profile=run.profile.to_dict(),
        reading_profile_id=kept.id,
        conditions=dict(run.conditions),
        came_by=came_by,
        by=by,
        at=at,
    )
    rows = transitions.store(session, cycle, run.transitions, at=at)
    if not judge:
        return LoggedRun(cycle, trace.sha256, None, None, False)
    return judged(session, packing, cycle, rows, sha256=trace.sha256, by=by, at=at)


def refuse_without_transitions(packing: Packing, run: AnalysedRun) -> None:
    """Refuse a run that holds none of the transitions of its bed's step plan.

    Raises
    ------
    Invalid
        If it holds none.
    """
    if any(one.result is not None for one in run.transitions):
        return
    first = run.transitions[0]
    said = f"None of the transitions of the step plan {packing.step_plan.name} was found. {first.how_found}"
    raise Invalid(said, where="file", mend=first.mend, code="no-transition")


def judged(
    session: Session,
    packing: Packing,
    cycle: Cycle,
    rows: list[Transition],
    *,
    sha256: str,
    by: User,
    at: datetime,
) -> LoggedRun:
    """Judge a cycle that was just recorded, and let the bed's alert follow."""
    verdicts = drift.judge(session, packing, cycle, rows, by=by, at=at)
    alert = alerts.follow(session, packing, verdicts, by=by, at=at)
    notices.tell(session, packing, at=at)
    return LoggedRun(cycle, sha256, drift_queries.of_cycle(session, cycle.id), alert, False)


def recorded_before(session: Session, packing: Packing, cycle: Cycle, sha256: str) -> LoggedRun:
    """Return what was said of a run when it was recorded: whoever lost that reply sends again."""
    alert = alerts.told_at(session, packing, cycle.logged_at)
    return LoggedRun(cycle, sha256, drift_queries.of_cycle(session, cycle.id), alert, True)


def void_run(session: Session, cycle_id: int, *, reason: str, by: User, at: datetime) -> Packing:
    """Void a run and judge its bed's life anew without it; return the bed.

    Raises
    ------
    NotFound
        If there is no such cycle.
    Invalid
        If no reason is given.
    Conflict
        If it is voided already.
    """
    cycle = cycles.get(session, cycle_id)
    cycles.void(session, cycle, reason=reason, by=by, at=at)
    return _bed_judged_anew(session, cycle, by=by, at=at)


def exclude_run(session: Session, cycle_id: int, *, reason: str, by: User, at: datetime) -> Packing:
    """Leave a cycle out of the statistics and judge its bed's life anew without it; return the bed.

    Raises
    ------
    NotFound
        If there is no such cycle.
    Invalid
        If no reason is given.
    Conflict
        If it is voided or excluded already.
    """
    cycle = cycles.get(session, cycle_id)
    cycles.exclude(session, cycle, reason=reason, by=by, at=at)
    return _bed_judged_anew(session, cycle, by=by, at=at)


def count_run_again(session: Session, cycle_id: int, *, reason: str, by: User, at: datetime) -> Packing:
    """Take an excluded cycle back into the statistics and judge its bed's life anew; return the bed.

    Raises
    ------
    NotFound
        If there is no such cycle.
    Invalid
        If no reason is given.
    Conflict
        If it is not excluded.
    """
    cycle = cycles.get(session, cycle_id)
    cycles.count_again(session, cycle, reason=reason, by=by, at=at)
    return _bed_judged_anew(session, cycle, by=by, at=at)


def _bed_judged_anew(session: Session, cycle: Cycle, *, by: User, at: datetime) -> Packing:
    packing_queries.lock(session, cycle.packing_id)  # no run is judged meanwhile
    packing = packings.get(session, cycle.packing_id)
    judge_anew(session, packing, by=by, at=at)
    return packing


def judge_anew(session: Session, packing: Packing, *, by: User, at: datetime) -> Alert | None:
    """Judge every cycle of a bed anew, and let its alerts follow; return the one raised or worsened."""
    judged = drift.replay(session, packing, by=by, at=at)
    alert = alerts.follow(session, packing, judged, by=by, at=at)
    notices.tell(session, packing, at=at)
    return alert
