"""Read, analyse, judge, alert: a file becomes a logged run in one transaction, or leaves nothing behind."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline import reading
from beadline.features.alerts import service as alerts
from beadline.features.cycles import queries as cycle_queries
from beadline.features.cycles import service as cycles
from beadline.features.cycles.schemas import CameBy, RunFacts
from beadline.features.drift import service as drift
from beadline.features.intake.schemas import AnalysedRun, Corrections, LoggedRun
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.traces import service as traces
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import Analysed
from beadline.kit.errors import Conflict, Invalid
from beadline.science import drift as drift_science
from beadline.science.estimates import Estimate
from beadline.store.tables import Packing, User

Floats = NDArray[np.float64]


def analyse(
    content: bytes,
    *,
    filename: str,
    bed: Bed,
    plan: tuple[reading.PlannedTransition, ...],
    last_profile: Mapping[str, Any] | None = None,
    corrections: Corrections | None = None,
    references: Mapping[str, Floats] | None = None,
) -> AnalysedRun:
    """Read a file and analyse its transitions; touches no database.

    Raises
    ------
    Invalid
        If the file can't be read; the message names the place and the mend.
    """
    corrections = corrections or Corrections()
    try:
        trace = _read(content, filename, bed, last_profile, corrections)
    except reading.UnreadableFile as error:
        raise Invalid(error.what, where=error.where, mend=error.mend, code=error.code) from error
    found = transitions.analyse(trace, plan, bed, switches_m3=corrections.switches_m3, references=references)
    conditions, notes = _conditions(trace, found, bed)
    return AnalysedRun(trace, found, conditions, trace.notes + notes)


def _read(
    content: bytes, filename: str, bed: Bed, last_profile: Mapping[str, Any] | None, corrections: Corrections
) -> reading.Trace:
    read = partial(
        reading.read,
        content,
        filename=filename,
        bed_volume_m3=bed.bed_volume_m3,
        column_area_m2=bed.cross_section_m2,
    )
    trace = None
    if last_profile is not None:
        try:
            trace = read(profile=reading.Profile.from_dict(last_profile))
            trace = replace(trace, notes=("Read as the last run of this column was.", *trace.notes))
        except reading.UnreadableFile:
            trace = None
    trace = trace or read()
    if not corrections.columns:
        return trace
    plain = trace.profile.to_dict()
    for column in plain["columns"]:
        column |= corrections.columns.get(column["index"], {})
    return read(profile=reading.Profile.from_dict(plain))


def _conditions(
    trace: reading.Trace, found: tuple[Analysed, ...], bed: Bed
) -> tuple[dict[str, Any], tuple[str, ...]]:
    windows = [
        (
            one.switch_volume_m3 + one.result.window_cv[0] * bed.bed_volume_m3,
            one.switch_volume_m3 + one.result.window_cv[1] * bed.bed_volume_m3,
        )
        for one in found
        if one.switch_volume_m3 is not None and one.result is not None
    ]
    seen = reading.cycle_conditions(trace, windows)
    pressure, notes = seen.pressure_drop_pa, seen.notes
    if pressure is not None and seen.flow_m3_s is not None and bed.reference_flow_m3_s:
        factor = bed.reference_flow_m3_s / seen.flow_m3_s.value
        pressure = Estimate(pressure.value * factor, pressure.u * factor)
        notes = (*notes, "The pressure drop is corrected to the flow of the step plan.")
    found_conditions = {
        "flow_m3_s": seen.flow_m3_s,
        "pressure_drop_pa": pressure,
        "temperature_k": seen.temperature_k,
    }
    return {name: None if e is None else [e.value, e.u] for name, e in found_conditions.items()}, notes


def judged_in_advance(
    session: Session, packing: Packing, run: AnalysedRun, *, number: int
) -> drift_science.Judgement | None:
    """Return the verdict that a run would get; None if later cycles are recorded already."""
    usable = [one for one in run.transitions if one.usable and one.result is not None]
    estimates = {one.plan.name: one.result.estimates for one in usable if one.result is not None}
    curves = {one.plan.name: one.result.fraction for one in usable if one.result is not None}
    foreseen = drift.foresee(session, packing, drift.reading_of(number, estimates, curves, run.conditions))
    return foreseen[0] if foreseen is not None else None


def prepare(
    session: Session,
    packing: Packing,
    content: bytes,
    *,
    filename: str,
    corrections: Corrections | None = None,
) -> AnalysedRun:
    """Read and analyse a file for a bed, as the last run of that bed was read."""
    _refuse_of_other_bed(session, packing, content)
    return analyse(
        content,
        filename=filename,
        bed=packings.bed_of(packing),
        plan=transitions.planned(packing.step_plan),
        last_profile=cycle_queries.last_profile(session, packing.id),
        corrections=corrections,
        references=transitions.reference_curves(session, packing.id),
    )


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
    corrections: Corrections | None = None,
) -> LoggedRun:
    """Read, analyse, record, judge and alert, all in the caller's transaction.

    The same file sent twice for the same bed is recorded once.

    Raises
    ------
    Invalid
        If the file can't be read, or holds none of the transitions of the step plan.
    Conflict
        If the file was logged for another bed, or the cycle number is taken.
    """
    known = cycle_queries.logged_from(session, packing.id, hashlib.sha256(content).hexdigest())
    if known is not None:
        return LoggedRun(known, None, None, True)
    run = prepare(session, packing, content, filename=filename, corrections=corrections)
    return record(
        session, packing, content, run, filename=filename, facts=facts, came_by=came_by, by=by, at=at
    )


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
    if all(one.result is None for one in run.transitions):
        first = run.transitions[0]
        said = (
            f"None of the transitions of the step plan {packing.step_plan.name} was found. {first.how_found}"
        )
        raise Invalid(said, where="file", mend=first.mend, code="no-transition")
    trace = traces.keep(session, content, filename=filename, by=by, at=at)
    cycle = cycles.add(
        session,
        packing=packing,
        trace=trace,
        facts=facts,
        profile=run.profile.to_dict(),
        conditions=dict(run.conditions),
        came_by=came_by,
        by=by,
        at=at,
    )
    rows = transitions.store(session, cycle, run.transitions, at=at)
    if not judge:
        return LoggedRun(cycle, None, None, False)
    judged = drift.judge(session, packing, cycle, rows, by=by, at=at)
    alert = alerts.follow(session, packing, judged, by=by, at=at)
    own = next(one.judgement for one in judged if one.cycle.id == cycle.id)
    return LoggedRun(cycle, own, alert, False)


def judge_anew(session: Session, packing: Packing, *, by: User, at: datetime) -> None:
    """Judge every cycle of a bed anew, and let its alerts follow."""
    judged = drift.replay(session, packing, by=by, at=at)
    alerts.follow(session, packing, judged, by=by, at=at)


def _refuse_of_other_bed(session: Session, packing: Packing, content: bytes) -> None:
    other = cycle_queries.elsewhere(session, packing.id, hashlib.sha256(content).hexdigest())
    if other is not None:
        raise Conflict(
            f"This file is recorded as cycle {other.number} of {other.packing.column.name}.",
            where="file",
            mend="Choose the right column or the right file.",
            code="file-of-another-bed",
        )
