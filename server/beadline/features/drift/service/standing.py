"""How a bed stands: condition, drift, beads, limits and the newest numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from beadline.features.transitions import service as transitions
from beadline.science import drift as science
from beadline.store.tables import BedState, Cycle, Judgement, Packing, PulseTest, Transition

KIND_OF_VERDICT = {
    "in limits": 0,
    "past alert limit": 1,
    "past action limit": 2,
    "not usable": 3,
    "excluded": 4,
}
FORESEEN = ("hetp_moments", "asymmetry", "variance_cv2", "mean_cv")


def verdict_of(cycle: Cycle, judged: Judgement | science.Judgement | None) -> str:
    """Return what is said of a cycle: that a person excluded it goes before what the charts say."""
    if cycle.excluded_at is not None:
        return "excluded"
    return judged.verdict if judged is not None else "not usable"


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


def new_standing(session: Session, packing: Packing) -> BedState:
    """Add the standing of a bed that has none yet."""
    standing = BedState(
        packing_id=packing.id, cycles=0, sentence="", beads=[], latest={}, limits={}, state={}
    )
    session.add(standing)
    return standing


def stand(
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
    alone = next((said.sentence for said in judgement.not_the_bed if said.code == "odd_cycle"), "")
    standing.sentence = headline if judgement.condition in ("drifting", "degraded") else alone
    standing.limits = _limits(judgement) or standing.limits
    standing.latest = _latest(packing, cycle, rows, standing.limits) or standing.latest


def empty(standing: BedState | None, state: science.State, *, at: datetime) -> None:
    """Let a bed whose every run was voided stand as it did before its first."""
    if standing is None:
        return
    standing.condition, standing.drift, standing.sentence = "learning baseline", None, ""
    standing.cycles, standing.last_cycle, standing.last_started_at = 0, None, None
    standing.beads, standing.latest, standing.limits, standing.updated_at = [], {}, {}, at
    standing.state = state.to_dict()


def look_ahead(standing: BedState, packing: Packing, state: science.State) -> None:
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
