"""Gather what the checks look at from what is stored of a bed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal

import numpy as np
from sqlalchemy.orm import Session

from beadline.features.alerts import queries as alert_queries
from beadline.features.campaign_reviews.schemas import (
    Facts,
    Foreseen,
    OpenAlert,
    Plan,
    Policy,
)
from beadline.features.campaign_reviews.service import pooling
from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import queries as pulse_queries
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import unit_of
from beadline.science import drift as science
from beadline.science import hydraulics, metrics
from beadline.store.tables import BedState, Cycle, Packing, Transition

Pair = tuple[float | None, float | None]
LEADING = ("hetp_moments", "asymmetry", "mean_cv", "variance_cv2")
RECENT = 20  # runs that the check of runs looks at
NEWEST = 3  # readings whose median says where a metric stands


def facts_of(session: Session, packing: Packing, plan: Plan, policy: Policy) -> Facts:
    """Return all that the checks look at."""
    standing = drift_queries.bed_state_to_go_on(session, packing.id)
    cycles = cycle_queries.of_packing(session, packing.id)
    judgements = drift_queries.of_packing(session, packing.id)
    tests = pulse_queries.of_packing(session, packing.id)
    rows = transition_queries.of_packing(session, packing.id)
    found = foreseen(packing, standing, cycles, rows, ahead=plan.cycles)
    recent = cycles[-RECENT:]
    verdicts = {c.number: judgements[c.id].verdict if c.id in judgements else "" for c in recent}
    used = cycles[-1].number if cycles else 0
    lots = cycle_queries.used_by_lots(session, [packing.lot_id])
    official = transitions.official(transitions.planned(packing.step_plan)).name
    pool_now, pool_at_end = pooling.now_and_at_end(session, packing, plan, found)
    return Facts(
        plan=plan,
        policy=policy,
        foreseen=found,
        used=used,
        limit=packing.cycle_limit,
        lot_used=max(lots.get(packing.lot_id, 0), used),
        lot_limit=packing.lot.resin.cycle_limit,
        test_verdict=tests[0].verdict if tests else None,
        tested_at=tests[0].performed_at if tests else None,
        since_test=sum(cycle.started_at > tests[0].performed_at for cycle in cycles) if tests else 0,
        condition=drift.condition_of(packing, standing, tests[0] if tests else None),
        alerts=tuple(
            OpenAlert(a.id, a.level, a.status, a.headline)
            for a in alert_queries.of_packing(session, packing.id)
            if a.status != "closed"
        ),
        recent_runs=len(recent),
        not_usable=tuple(number for number, verdict in verdicts.items() if verdict == "not usable"),
        not_judged=tuple(number for number, verdict in verdicts.items() if not verdict),
        last_run_at=cycles[-1].started_at if cycles else None,
        margins=_margins(packing, cycles),
        pool=pool_now,
        pool_at_end=pool_at_end,
        curve=drift.curve_of_cycle(session, packing, standing, name=official),
    )


def foreseen(
    packing: Packing,
    standing: BedState | None,
    cycles: Sequence[Cycle],
    rows: Sequence[Transition],
    *,
    ahead: int,
) -> tuple[Foreseen, ...]:
    """Return the prospect of each limited metric of the official transition, and of the pressure."""
    if standing is None:
        return ()
    settings = science.Settings.from_dict(standing.state["settings"])
    official = transitions.official(transitions.planned(packing.step_plan))
    past = series(official.name, [cycle for cycle in cycles if cycle.excluded_at is None], rows)
    found = []
    for key in _keys(official.name, settings):
        limits = limits_of(standing, settings, key)
        if key not in past or not any_limit(limits):
            continue
        found.append(_foresee(key, past[key], limits, settings.phi, official.quantity, ahead))
    return tuple(found)


def _keys(official: str, settings: science.Settings) -> Iterator[str]:
    """The leading metrics, and what else has limits by procedure."""
    usual = [*(f"{official}/{name}" for name in LEADING), "pressure_drop_pa"]
    yield from usual
    yield from (k for k in settings.fixed_limits if k not in usual and k.startswith(f"{official}/"))


def series(
    official: str, cycles: Sequence[Cycle], rows: Sequence[Transition]
) -> dict[str, list[tuple[int, float]]]:
    """Return cycle and value of every key of the official transition where usable, and of the pressure."""
    numbers = {cycle.id: cycle.number for cycle in cycles}
    found: dict[str, list[tuple[int, float]]] = {}
    usable = {row.cycle_id for row in rows if row.usable}
    for row in rows:
        if row.name == official and row.usable and row.cycle_id in numbers:
            for metric, pair in row.estimates.items():
                found.setdefault(f"{official}/{metric}", []).append((numbers[row.cycle_id], pair[0]))
    for cycle in cycles:
        pair = cycle.conditions.get("pressure_drop_pa")
        if pair is not None and cycle.id in usable:
            found.setdefault("pressure_drop_pa", []).append((cycle.number, pair[0]))
    return found


def limits_of(standing: BedState, settings: science.Settings, key: str) -> tuple[Pair, Pair]:
    """Return alert and action limits of a key; those of the procedure go before those of the chart."""
    fixed = settings.fixed_limits.get(key, science.FixedLimits())
    charted: Mapping[str, Any] = standing.limits.get(key, {})
    one_sided = science_metric(key).side == "up"

    def pair(which: Literal["alert", "action"]) -> Pair:
        low, high = charted.get(which, (None, None))
        own_low, own_high = getattr(fixed, f"{which}_low"), getattr(fixed, f"{which}_high")
        usual = None if one_sided else low
        return (usual if own_low is None else own_low), (high if own_high is None else own_high)

    alert, action = pair("alert"), pair("action")
    return alert, action


def any_limit(limits: tuple[Pair, Pair]) -> bool:
    """Tell whether any limit is set."""
    return any(limit is not None for pair in limits for limit in pair)


def science_metric(key: str) -> metrics.Metric:
    """Return how the metric of a key is shown and judged."""
    name = key.rpartition("/")[2]
    return (metrics.by_name(metrics.TRANSITION) | metrics.by_name(metrics.CYCLE))[name]


def _foresee(
    key: str,
    past: Sequence[tuple[int, float]],
    limits: tuple[Pair, Pair],
    phi: float,
    quantity: str,
    ahead: int,
) -> Foreseen:
    (alert_low, alert_high), (action_low, action_high) = limits
    metric = science_metric(key)
    found = science.prospect(
        [cycle for cycle, _ in past],
        [value for _, value in past],
        key=key,
        limits=science.FixedLimits(alert_low, alert_high, action_low, action_high),
        phi=phi,
        ahead=ahead,
    )
    middle = float(np.median([value for _, value in past[-NEWEST:]]))
    reached: Literal["", "alert", "action"] = ""
    if beyond(middle, limits[1]):
        reached = "action"
    elif beyond(middle, limits[0]):
        reached = "alert"
    return Foreseen(
        prospect=found,
        label=metric.label,
        unit=unit_of(metric, quantity if "/" in key else ""),
        factor=metric.factor,
        digits=metric.digits,
        past=tuple(past),
        alert=limits[0],
        action=limits[1],
        reached=reached,
    )


def beyond(value: float, limits: Pair) -> bool:
    """Tell whether a value is outside its limits."""
    low, high = limits
    return (low is not None and value < low) or (high is not None and value > high)


def _margins(packing: Packing, cycles: Sequence[Cycle]) -> hydraulics.Margins | None:
    """Margins at the medians of the newest drops as run and highest inlet pressures.

    A bed without pressure before the column is judged by the drop, which is lower.
    """
    drop_pa = _newest(cycles, "pressure_drop_as_run_pa") or _newest(cycles, "pressure_drop_pa")
    if drop_pa is None:
        return None
    inlet_pa = _newest(cycles, "inlet_pressure_pa")
    return packings.margins(packing, pressure_drop_pa=drop_pa, inlet_pressure_pa=inlet_pa)


def _newest(cycles: Sequence[Cycle], name: str) -> float | None:
    pairs = [cycle.conditions.get(name) for cycle in cycles]
    newest = [pair[0] for pair in pairs if pair is not None and pair[0] >= 0][-NEWEST:]
    return float(np.median(newest)) if newest else None
