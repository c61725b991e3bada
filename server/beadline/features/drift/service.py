"""Judge cycles: one more from the stored state, or a whole life anew."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries
from beadline.features.drift.schemas import Judged, Rehearsed
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.science import drift as science
from beadline.science.drift import wording
from beadline.science.drift.fleet import LEAST_BEDS
from beadline.science.estimates import Estimate
from beadline.store.tables import Baseline, BedState, Cycle, Judgement, Packing, PulseTest, Transition, User

MOST_SISTERS = 12
KIND_OF_VERDICT = {
    "in limits": 0,
    "past alert limit": 1,
    "past action limit": 2,
    "not usable": 3,
    "excluded": 4,
}
FORESEEN = ("hetp_moments", "asymmetry", "variance_cv2", "mean_cv")


def baseline_of(session: Session, packing: Packing, *, by: User, at: datetime) -> Baseline:
    """Return the settings by which a bed is watched, made with the shipped defaults if there are none."""
    found = queries.baseline(session, packing.id)
    if found is None:
        found = Baseline(
            packing_id=packing.id,
            version=1,
            settings=science.Settings().to_dict(),
            made_at=at,
            made_by_id=by.id,
            reason="Shipped defaults",
        )
        session.add(found)
        session.flush()  # judgements name it
    return found


def add_version(
    session: Session,
    packing: Packing,
    settings: science.Settings,
    *,
    reason: str,
    signed: bool,
    by: User,
    at: datetime,
) -> Baseline:
    """Add a version of the settings by which a bed is watched, signed by who makes it if so wished."""
    present = baseline_of(session, packing, by=by, at=at)
    made = Baseline(
        packing_id=packing.id,
        version=present.version + 1,
        settings=settings.to_dict(),
        made_at=at,
        made_by_id=by.id,
        reason=reason,
    )
    if signed:
        made.signed_at = at
        made.signed_sha256 = content_sha256(made)
    session.add(made)
    session.flush()  # judgements name it
    return made


def content_sha256(version: Baseline) -> str:
    """Return the hash over all that a version of a baseline says, which a signature is bound to."""
    content = [
        version.packing_id,
        version.version,
        version.settings,
        version.reason,
        version.made_by_id,
        *(at.astimezone(UTC).isoformat() for at in (version.made_at, version.signed_at) if at is not None),
    ]
    return hashlib.sha256(json.dumps(content, sort_keys=True).encode()).hexdigest()


def signature(version: Baseline) -> str:
    """Say whether a version is "signed", "not signed", or "broken": no longer what was signed."""
    if version.signed_sha256 is None:
        return "not signed"
    return "signed" if content_sha256(version) == version.signed_sha256 else "broken"


def reading_of(
    number: int,
    estimates: Mapping[str, Mapping[str, Estimate]],
    curves: Mapping[str, Any],
    conditions: Mapping[str, Any],
) -> science.Reading:
    """Return what the charts are fed of a cycle.

    Parameters
    ----------
    estimates : mapping
        Usable transitions by name; a cycle without any is not usable.
    curves : mapping
        Their normalised curves; taken as single floats, as they are stored, so that judging cycle by cycle
        equals judging the stored life anew to the last digit.
    conditions : mapping
        Flow, corrected pressure drop and temperature as stored with the cycle.
    """
    values = {f"{name}/{metric}": e for name, found in estimates.items() for metric, e in found.items()}
    values |= {name: Estimate(*pair) for name, pair in conditions.items() if pair is not None}
    single = {name: np.asarray(curve, np.float32).astype(np.float64) for name, curve in curves.items()}
    return science.Reading(cycle=number, values=values, curves=single, usable=bool(estimates))


def stored_reading(cycle: Cycle, rows: Sequence[Transition]) -> science.Reading:
    """Return what the charts are fed of a stored cycle."""
    curves = {row.name: row.fraction for row in rows if row.usable and row.fraction is not None}
    reading = reading_of(cycle.number, _estimates(rows), curves, cycle.conditions)
    return replace(reading, excluded=cycle.excluded_at is not None)


def _estimates(rows: Sequence[Transition]) -> dict[str, dict[str, Estimate]]:
    return {row.name: transitions.estimates_of(row) for row in rows if row.usable}


def experience(session: Session, packing: Packing, settings: science.Settings) -> science.Prior | None:
    """Return what other beds of the same resin and step plan have shown in their baselines.

    None while fewer than three of them have a complete one: their spread can't be told then.
    """
    beds, names = [], []
    for sister, standing in queries.sisters(session, packing, most=MOST_SISTERS):
        rows: dict[Cycle, list[Transition]] = {}
        for cycle, row in queries.results(session, sister.id, numbers=baseline_cycles(standing)):
            rows.setdefault(cycle, []).append(row)
        if rows:
            beds.append([reading_of(c.number, _estimates(r), {}, c.conditions) for c, r in rows.items()])
            names.append(f"{sister.column.name}, packing {sister.number}")
    if len(beds) < LEAST_BEDS:
        return None
    return replace(science.pool(beds, settings), sisters=tuple(names))


def _prior(session: Session, packing: Packing, settings: science.Settings) -> science.Prior | None:
    """Return the experience that a bed is judged with: taken at its first cycle, anew with new settings.

    In between it stays, whatever sister beds go through, so that a life judged anew is judged alike.
    """
    standing = queries.bed_state_to_go_on(session, packing.id)
    if standing is not None and standing.state:
        plain = standing.state["prior"]
        if science.Settings.from_dict(standing.state["settings"]) == settings:
            return science.Prior.from_dict(plain) if plain else None
    return experience(session, packing, settings) if settings.use_fleet else None


def verdict_of(cycle: Cycle, judged: Judgement | science.Judgement | None) -> str:
    """Return what is said of a cycle: that a person excluded it goes before what the charts say."""
    if cycle.excluded_at is not None:
        return "excluded"
    return judged.verdict if judged is not None else "not usable"


def spoken(judged: Judgement | None) -> tuple[science.Spoke, ...]:
    """Return the charts that spoke in a cycle as it was judged, those of the bed first."""
    return tuple(science.Spoke(*one) for one in judged.charts.get("spoke", ())) if judged is not None else ()


def foresee(
    session: Session, packing: Packing, reading: science.Reading
) -> tuple[science.Judgement, str] | None:
    """Judge a run that is not recorded, with the sentence that its alert would say.

    None if later cycles are recorded already.
    """
    found = _advance(session, packing, reading)
    if found is None:
        return None
    state, judgement = found
    return judgement, _headline(packing, judgement, state.baseline)


def _advance(
    session: Session, packing: Packing, reading: science.Reading
) -> tuple[science.State, science.Judgement] | None:
    standing = queries.bed_state_to_go_on(session, packing.id)
    if standing is not None and standing.last_cycle is not None and reading.cycle <= standing.last_cycle:
        return None
    if standing is not None:
        return science.advance(science.State.from_dict(standing.state), reading)
    settings = queries.baseline(session, packing.id)
    chosen = science.Settings.from_dict(settings.settings) if settings else science.Settings()
    return science.advance(science.start(chosen, prior=_prior(session, packing, chosen)), reading)


def judge(
    session: Session, packing: Packing, cycle: Cycle, rows: Sequence[Transition], *, by: User, at: datetime
) -> list[Judged]:
    """Judge a new cycle; one that came late has the whole life judged anew."""
    settings = baseline_of(session, packing, by=by, at=at)
    found = _advance(session, packing, stored_reading(cycle, rows))
    if found is None:
        return replay(session, packing, by=by, at=at)
    state, judgement = found
    session.add(_row(cycle, settings, judgement))
    standing = queries.bed_state_to_go_on(session, packing.id) or _new_standing(session, packing)
    headline = _headline(packing, judgement, state.baseline)
    _stand(standing, packing, cycle, rows, judgement, headline=headline, at=at)
    _look_ahead(standing, packing, state)
    standing.state = state.to_dict()
    return [Judged(cycle, judgement, headline)]


def replay(session: Session, packing: Packing, *, by: User, at: datetime) -> list[Judged]:
    """Judge every cycle of a packing anew, from the first on."""
    settings = baseline_of(session, packing, by=by, at=at)
    cycles = cycle_queries.of_packing(session, packing.id)
    if not cycles:
        chosen = science.Settings.from_dict(settings.settings)
        state = science.start(chosen, prior=_prior(session, packing, chosen))
        _empty(queries.bed_state_to_go_on(session, packing.id), state, at=at)
        return []
    rows, life = _lived(session, packing, cycles, science.Settings.from_dict(settings.settings))
    older = queries.of_packing(session, packing.id)
    standing = queries.bed_state_to_go_on(session, packing.id) or _new_standing(session, packing)
    standing.beads, standing.limits = [], {}
    judged = []
    for cycle, judgement in zip(cycles, life.judgements, strict=True):
        fresh = _row(cycle, settings, judgement)
        if cycle.id in older:
            fresh.id = older[cycle.id].id
            session.merge(fresh)
        else:
            session.add(fresh)
        headline = _headline(packing, judgement, life.baseline)
        _stand(standing, packing, cycle, rows.get(cycle.id, []), judgement, headline=headline, at=at)
        judged.append(Judged(cycle, judgement, headline))
    _look_ahead(standing, packing, life.state)
    standing.state = life.state.to_dict()
    session.flush()  # alerts name the cycles judged here
    return judged


def rehearse(session: Session, packing: Packing, settings: science.Settings) -> Rehearsed:
    """Say what a bed's life would look like under other settings; nothing is stored."""
    cycles = cycle_queries.of_packing(session, packing.id)
    _, life = _lived(session, packing, cycles, settings)
    judged = tuple(
        Judged(cycle, judgement, _headline(packing, judgement, life.baseline))
        for cycle, judgement in zip(cycles, life.judgements, strict=True)
    )
    return Rehearsed(judged, life.baseline.cycles if life.baseline else ())


def _lived(
    session: Session, packing: Packing, cycles: Sequence[Cycle], settings: science.Settings
) -> tuple[Mapping[int, Sequence[Transition]], science.Life]:
    """Return the transitions by cycle, and the life that their numbers tell under some settings."""
    rows: dict[int, list[Transition]] = {}
    for row in transition_queries.of_packing(session, packing.id, with_curves=True):
        rows.setdefault(row.cycle_id, []).append(row)
    readings = [stored_reading(cycle, rows.get(cycle.id, [])) for cycle in cycles]
    return rows, science.replay(readings, settings, prior=_prior(session, packing, settings))


def _empty(standing: BedState | None, state: science.State, *, at: datetime) -> None:
    """Let a bed whose every run was voided stand as it did before its first."""
    if standing is None:
        return
    standing.condition, standing.drift, standing.sentence = "learning baseline", None, ""
    standing.cycles, standing.last_cycle, standing.last_started_at = 0, None, None
    standing.beads, standing.latest, standing.limits, standing.updated_at = [], {}, {}, at
    standing.state = state.to_dict()


def _headline(packing: Packing, judgement: science.Judgement, baseline: science.Baseline | None) -> str:
    if judgement.alert is None:
        return ""
    official = transitions.official(transitions.planned(packing.step_plan)).name
    return wording.in_short(judgement.alert, baseline, official=official)


def _row(cycle: Cycle, settings: Baseline, judgement: science.Judgement) -> Judgement:
    levels, ewma, change = {}, {}, {}
    for chart in judgement.charts:
        if chart.chart == "individuals" and chart.level:
            levels[chart.key] = chart.level
        elif chart.chart == "ewma":
            ewma[chart.key] = float(f"{chart.value:.6g}")
        elif chart.chart == "change":
            change[chart.key] = [round(chart.value, 2), chart.level]
    return Judgement(
        cycle_id=cycle.id,
        baseline_id=settings.id,
        verdict=judgement.verdict,
        condition=judgement.condition,
        drift=None if judgement.verdict == "not usable" else round(judgement.drift, 3),
        charts={
            "levels": levels,
            "ewma": ewma,
            "change": change,
            "spoke": [[one.chart, one.key, one.level] for one in science.spoke(judgement)],
        },
        not_the_bed=[asdict(doubt) for doubt in judgement.not_the_bed],
    )


def _new_standing(session: Session, packing: Packing) -> BedState:
    standing = BedState(
        packing_id=packing.id, cycles=0, sentence="", beads=[], latest={}, limits={}, state={}
    )
    session.add(standing)
    return standing


def _stand(
    standing: BedState,
    packing: Packing,
    cycle: Cycle,
    rows: Sequence[Transition],
    judgement: science.Judgement,
    *,
    headline: str,
    at: datetime,
) -> None:
    """Let a bed's standing follow its newest cycle."""
    drift = None if judgement.verdict == "not usable" else round(judgement.drift, 2)
    bead = [cycle.number, drift, KIND_OF_VERDICT[verdict_of(cycle, judgement)]]
    standing.beads = [*standing.beads, bead]
    standing.cycles = len(standing.beads)
    standing.condition = judgement.condition
    standing.drift = drift
    standing.last_cycle = cycle.number
    standing.last_started_at = cycle.started_at
    standing.updated_at = at
    standing.sentence = headline if judgement.condition in ("drifting", "degraded") else ""
    standing.limits = _limits(judgement) or standing.limits
    standing.latest = _latest(packing, cycle, rows, standing.limits) or standing.latest


def _look_ahead(standing: BedState, packing: Packing, state: science.State) -> None:
    """Keep with a bed's latest numbers how many cycles are left until the limits of its leading metrics."""
    official = transitions.official(transitions.planned(packing.step_plan)).name
    keys = [*(f"{official}/{metric}" for metric in FORESEEN), "pressure_drop_pa"]
    found = [one.to_dict() for one in science.outlook(state, keys)]
    standing.latest = {**standing.latest, "outlook": found}


def _limits(judgement: science.Judgement) -> dict[str, Any]:
    return {
        chart.key: {
            "centre": chart.centre,
            "alert": [chart.alert_low, chart.alert_high],
            "action": [chart.action_low, chart.action_high],
        }
        for chart in judgement.charts
        if chart.chart == "individuals"
    }


def _latest(
    packing: Packing, cycle: Cycle, rows: Sequence[Transition], limits: Mapping[str, Any]
) -> dict[str, Any]:
    """Return the headline numbers of a cycle: those of the plan's official transition, and the pressure."""
    official = transitions.official(transitions.planned(packing.step_plan)).name
    first = next((row for row in rows if row.name == official and row.usable), None)
    if first is None or cycle.excluded_at is not None:
        return {}
    values = {name: pair[0] for name, pair in first.estimates.items()}
    centre = limits.get(f"{first.name}/hetp_moments", {}).get("centre")
    hetp = values.get("hetp_moments")
    pressure = cycle.conditions.get("pressure_drop_pa")
    return {
        "transition": first.name,
        "hetp_m": hetp,
        "hetp_change": hetp / centre - 1 if hetp and centre else None,
        "asymmetry": values.get("asymmetry"),
        "pressure_drop_pa": pressure[0] if pressure else None,
    }


def baseline_cycles(standing: BedState | None) -> tuple[int, ...]:
    """Return the numbers of the cycles that define a bed's baseline; empty while it is learnt."""
    if standing is None or not standing.state:
        return ()
    baseline = standing.state.get("baseline")
    return tuple(baseline["cycles"]) if baseline else ()


def bands(standing: BedState) -> dict[str, tuple[float, float, float]]:
    """Return centre and the ends of the band of two standard deviations of each key, in the metric's unit."""
    plain = standing.state.get("baseline")
    if not plain:
        return {}
    baseline = science.Baseline.from_dict(plain)
    low, middle, high = (baseline.on_unit(baseline.centre + k * baseline.sd) for k in (-2.0, 0.0, 2.0))
    return {
        key: (float(middle[i]), float(low[i]), float(high[i]))
        for i, key in enumerate(baseline.keys)
        if np.isfinite(baseline.sd[i])
    }


def condition_of(packing: Packing, standing: BedState | None, newest_test: PulseTest | None) -> str:
    """Return the bed's condition: what people decided first, then what degrades it most."""
    if packing.unpacked_at is not None:
        return "retired"
    if packing.on_hold_since is not None:
        return "on hold"
    watched = standing.condition if standing is not None else "learning baseline"
    if watched in ("degraded", "drifting"):
        return watched
    if newest_test is None or newest_test.verdict != "pass":
        return "not qualified"
    return watched
