"""What a file would become, before anything is recorded."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from datetime import UTC, datetime, tzinfo
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.intake.schemas import AnalysedRun, Corrections, Seen, SeenTransition
from beadline.features.intake.service import placing
from beadline.features.intake.service.logging import started_at, told_start
from beadline.features.intake.service.preparing import prepare
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import Analysed, CurveView, number_line
from beadline.kit import looks, words
from beadline.reading import Profile, Trace
from beadline.science import drift as science
from beadline.science import metrics
from beadline.science.drift import Judgement, Reading
from beadline.store.tables import Packing

FIRST_CYCLES = 15
HEADLINES = ("hetp_moments", "hetp_width", "asymmetry", "mean_cv", "early_foot", "late_tail", "step_height")


def look(
    session: Session,
    packing: Packing,
    content: bytes,
    *,
    filename: str,
    number: int | None = None,
    started: datetime | None = None,
    at: datetime,
    zone: tzinfo = UTC,
    corrections: Corrections | None = None,
) -> tuple[Seen, Profile]:
    """Read, analyse and judge a file without recording it.

    Raises
    ------
    Invalid
        If the file can't be read.
    Conflict
        If it was logged for another bed.
    """
    sha256 = hashlib.sha256(content).hexdigest()
    run = prepare(session, packing, content, filename=filename, corrections=corrections)
    known = cycle_queries.logged_from(session, packing.id, sha256)
    moment = started or told_start(run, zone=zone)
    asks = moment is not None and number is None and known is None
    late = placing.late(session, packing, moment, zone=zone) if moment is not None and asks else None
    number = late.free_number if late else number
    wanted = cycle_queries.newest_number(session, packing.id) + 1 if number is None else number
    judgement, headline = drift.foresee(session, packing, _reading(wanted, run)) or (None, "")
    verdict = judgement.verdict if judgement else _without_charts(run)
    standing = drift_queries.bed_state(session, packing.id)
    lede = (
        looks.Lede(
            f"Recorded already, as cycle {known.number}.", "Recording it again changes nothing.", "void"
        )
        if known
        else _lede(run, judgement, verdict, headline)
    )
    began, unsure_start = started_at(session, packing, run, number=number, zone=zone, at=at)
    seen = Seen(
        lede=lede,
        filename=filename,
        sha256=sha256,
        number=known.number if known else wanted,
        bed_name=f"{packing.column.name}, packing {packing.number}",
        verdict=verdict,
        kind=looks.KIND_OF_VERDICT[verdict],
        transitions=tuple(_seen(one, corrections or Corrections()) for one in run.transitions),
        numbers=_numbers(run, judgement, standing.limits if standing else {}),
        doubts=tuple(
            f"{one.plan.name}: {doubt.sentence}"
            for one in run.transitions
            if one.result is not None
            for doubt in one.result.doubts
        ),
        not_the_bed=tuple(doubt.sentence for doubt in judgement.not_the_bed) if judgement else (),
        voices=science.voices(science.spoke(judgement)) if judgement else (),
        recognised=tuple(filter(None, (*_in_short(run.trace), *run.notes, unsure_start))),
        started_at=f"{began.astimezone(zone):%Y-%m-%dT%H:%M}" if began else "",
        late=late.sentence if late else "",
        free_number=late.free_number if late else None,
        looks_recorded=None if known else placing.recorded_alike(session, packing, run.trace),
        curves=_curves(session, packing, run),
    )
    return seen, run.profile


def _in_short(trace: Trace) -> tuple[str, str]:
    """Say which columns were read as what, and which steps the file names."""
    used = [column for column in trace.profile.columns if column.use != "ignored"]
    columns = ", ".join(
        f"“{c.header}” as {c.quantity or c.use}{f' in {c.unit}' if c.unit else ''}" for c in used
    )
    steps = ", ".join(f"{mark.name} at {words.number(mark.volume_m3 * 1e3, 4)} L" for mark in trace.marks)
    return f"Columns: {columns}.", f"Steps: {steps}." if steps else "The file names no steps."


def _reading(number: int, run: AnalysedRun) -> Reading:
    usable = {one.plan.name: one.result for one in run.transitions if one.usable and one.result is not None}
    return drift.reading_of(
        number,
        {name: result.estimates for name, result in usable.items()},
        {name: result.fraction for name, result in usable.items()},
        run.conditions,
    )


def _without_charts(run: AnalysedRun) -> str:
    return "in limits" if any(one.usable for one in run.transitions) else "not usable"


def _lede(run: AnalysedRun, judgement: Judgement | None, verdict: str, headline: str) -> looks.Lede:
    kind = looks.KIND_OF_VERDICT[verdict]
    if all(one.result is None for one in run.transitions):
        first = run.transitions[0]
        return looks.Lede("This file can't be recorded.", f"{first.how_found} {first.mend}", "act")
    if verdict == "not usable":
        return looks.Lede(
            "This trace is not usable.", "It can be recorded; it leaves a gap in the trend.", kind
        )
    if judgement is None:
        return looks.Lede(
            "This run comes late.", "Later cycles are recorded; the life is judged anew with it.", kind
        )
    alert = judgement.alert
    if alert is not None and alert.raised:
        return looks.Lede(f"This run would raise an alert at the {alert.level} limit.", headline, kind)
    if judgement.condition == "learning baseline":
        return looks.Lede("In limits, as far as is known.", "The bed is still learning its baseline.", kind)
    if verdict == "in limits":
        return looks.Lede("In limits.", "This run looks like the baseline.", kind)
    more = "; its alert stands already." if alert is not None else "; one odd cycle alone raises no alert."
    return looks.Lede(f"{verdict.capitalize()}.", f"The bed is {judgement.condition}{more}", kind)


def _seen(one: Analysed, corrections: Corrections) -> SeenTransition:
    moved = corrections.switches_m3.get(one.plan.name)
    return SeenTransition(
        name=one.plan.name,
        usable=one.usable,
        how_found=_why_not_usable(one) or one.how_found,
        mend=one.mend,
        found_l=one.switch_volume_m3 * 1e3 if one.switch_volume_m3 is not None else None,
        corrected_l=f"{moved * 1e3:.6g}" if moved is not None else "",
    )


def _why_not_usable(one: Analysed) -> str:
    if one.result is None or one.result.usable:
        return ""
    return " ".join(doubt.sentence for doubt in one.result.doubts) or "Not usable."


def _numbers(
    run: AnalysedRun, judgement: Judgement | None, limits: Mapping[str, Any]
) -> tuple[tuple[str, tuple[looks.NumberLine, ...]], ...]:
    levels = {c.key: c.level for c in judgement.charts if c.chart == "individuals"} if judgement else {}
    groups = []
    for one in run.transitions:
        if one.result is None:
            continue
        lines = []
        for name in HEADLINES:
            metric, estimate = metrics.by_name(metrics.TRANSITION)[name], one.result.estimates.get(name)
            key = f"{one.plan.name}/{name}"
            pair = (estimate.value, estimate.u) if estimate else None
            why_not = one.result.withheld.get(name, "")
            if pair or why_not:
                lines.append(
                    number_line(
                        metric,
                        pair,
                        quantity=one.plan.quantity,
                        limits=_limits(limits, key, metric),
                        level=levels.get(key, ""),
                        why_not=why_not,
                    )
                )
        groups.append((one.plan.name, tuple(lines)))
    cycle = [
        number_line(
            metric,
            tuple(pair),
            limits=_limits(limits, metric.name, metric),
            level=levels.get(metric.name, ""),
        )
        for metric in metrics.CYCLE
        if (pair := run.conditions.get(metric.name)) is not None
    ]
    return (*groups, ("Whole cycle", tuple(cycle))) if cycle else tuple(groups)


def _limits(limits: Mapping[str, Any], key: str, metric: metrics.Metric) -> tuple[float | None, float | None]:
    low, high = limits.get(key, {}).get("alert", (None, None))
    return (None if metric.side == "up" else low), high


def _curves(session: Session, packing: Packing, run: AnalysedRun) -> tuple[CurveView, ...]:
    standing = drift_queries.bed_state_to_go_on(session, packing.id)
    normal = drift.baseline_cycles(standing) or range(1, FIRST_CYCLES + 1)
    around = transition_queries.curves(session, packing.id, cycles=list(normal), excluded=False)
    return tuple(
        transitions.curve_over_normal(
            one.plan.name,
            one.result.grid_cv,
            one.result.fraction,
            one.result.density_per_cv,
            [row for _, row in around if row.name == one.plan.name],
        )
        for one in run.transitions
        if one.result is not None and one.usable
    )
