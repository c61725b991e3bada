"""Judge cycles: one more from the stored state, or a whole life anew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries
from beadline.features.drift.schemas import Judged, Rehearsed
from beadline.features.drift.service import standing as standings
from beadline.features.drift.service.experience import prior_of
from beadline.features.drift.service.readings import stored_reading
from beadline.features.drift.service.versions import baseline_of
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.science import drift as science
from beadline.science.drift import wording
from beadline.store.tables import Baseline, BedState, Cycle, Judgement, Packing, Transition, User


def spoken(judged: Judgement | None) -> tuple[science.Spoke, ...]:
    """Return the charts that spoke in a cycle as it was judged, those of the bed first."""
    return tuple(science.Spoke(*one) for one in judged.charts.get("spoke", ())) if judged is not None else ()


def foresee(
    session: Session, packing: Packing, reading: science.Reading
) -> tuple[science.Judgement, str] | None:
    """Judge a run that is not recorded, with the sentence that its alert would say.

    None if later cycles are recorded already.
    """
    found = _advance(session, packing, queries.bed_state_to_go_on(session, packing.id), reading)
    if found is None:
        return None
    state, judgement = found
    return judgement, _headline(packing, judgement, state.baseline)


def judge(
    session: Session, packing: Packing, cycle: Cycle, rows: Sequence[Transition], *, by: User, at: datetime
) -> list[Judged]:
    """Judge a new cycle; one that came late has the whole life judged anew."""
    settings = baseline_of(session, packing, by=by, at=at)
    standing = queries.bed_state_to_go_on(session, packing.id)
    found = _advance(session, packing, standing, stored_reading(cycle, rows))
    if found is None:
        return replay(session, packing, by=by, at=at)
    state, judgement = found
    session.add(_row(cycle, settings, judgement))
    standing = standing or standings.new_standing(session, packing)
    headline = _headline(packing, judgement, state.baseline)
    standings.stand(standing, packing, cycle, rows, judgement, headline=headline, at=at)
    standings.look_ahead(standing, packing, state)
    standing.state = state.to_dict()
    return [Judged(cycle, judgement, headline)]


def replay(session: Session, packing: Packing, *, by: User, at: datetime) -> list[Judged]:
    """Judge every cycle of a packing anew, from the first on."""
    settings = baseline_of(session, packing, by=by, at=at)
    cycles = cycle_queries.of_packing(session, packing.id)
    if not cycles:
        chosen = science.Settings.from_dict(settings.settings)
        state = science.start(chosen, prior=prior_of(session, packing, chosen))
        standings.empty(queries.bed_state_to_go_on(session, packing.id), state, at=at)
        return []
    rows, life = _lived(session, packing, cycles, science.Settings.from_dict(settings.settings))
    older = queries.of_packing(session, packing.id)
    standing = queries.bed_state_to_go_on(session, packing.id) or standings.new_standing(session, packing)
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
        standings.stand(standing, packing, cycle, rows.get(cycle.id, []), judgement, headline=headline, at=at)
        judged.append(Judged(cycle, judgement, headline))
    standings.look_ahead(standing, packing, life.state)
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


def _advance(
    session: Session, packing: Packing, standing: BedState | None, reading: science.Reading
) -> tuple[science.State, science.Judgement] | None:
    if standing is not None and standing.last_cycle is not None and reading.cycle <= standing.last_cycle:
        return None
    if standing is not None and science.State.is_current(standing.state):
        return science.advance(science.State.from_dict(standing.state), reading)
    settings = queries.baseline(session, packing.id)
    chosen = science.Settings.from_dict(settings.settings) if settings else science.Settings()
    if standing is not None:
        return science.advance(_state_before(session, packing, reading, chosen), reading)
    return science.advance(science.start(chosen, prior=prior_of(session, packing, chosen)), reading)


def _state_before(
    session: Session, packing: Packing, reading: science.Reading, settings: science.Settings
) -> science.State:
    """Replay the cycles before one: their verdicts stay, but their state is another version's."""
    recorded = cycle_queries.of_packing(session, packing.id)
    cycles = [cycle for cycle in recorded if cycle.number < reading.cycle]
    return _lived(session, packing, cycles, settings)[1].state


def _lived(
    session: Session, packing: Packing, cycles: Sequence[Cycle], settings: science.Settings
) -> tuple[Mapping[int, Sequence[Transition]], science.Life]:
    """Return the transitions by cycle, and the life that their numbers tell under some settings."""
    rows: dict[int, list[Transition]] = {}
    for row in transition_queries.of_packing(session, packing.id, with_curves=True):
        rows.setdefault(row.cycle_id, []).append(row)
    readings = [stored_reading(cycle, rows.get(cycle.id, [])) for cycle in cycles]
    return rows, science.replay(readings, settings, prior=prior_of(session, packing, settings))


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
            "by": [science.METHOD, science.VERSION],
        },
        not_the_bed=[asdict(doubt) for doubt in judgement.not_the_bed],
    )
