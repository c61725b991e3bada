"""What speaks for an alert, in the units of the screen."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.alerts.schemas import EvidenceLine
from beadline.features.bed_events import queries as event_queries
from beadline.features.bed_events import service as bed_events
from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.drift.schemas import CycleCurve
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import unit_of
from beadline.kit import looks, words
from beadline.science.drift.reading import metric_of, transition_of
from beadline.store.tables import Alert


def evidence_of(session: Session, alert: Alert) -> tuple[EvidenceLine, ...]:
    """Return what moved: the shift that raised the alert, beside the baseline and the latest cycle's value.

    The look at whole curves has shifts alone; its numbers have no unit.
    """
    standing = drift_queries.bed_state(session, alert.packing_id)
    judgement = drift_queries.of_cycle(session, alert.latest_cycle_id)
    cycle = alert.latest_cycle
    values = drift.stored_reading(cycle, transition_queries.of_cycle(session, cycle.id)).values
    quantities = {one.name: one.quantity for one in transitions.planned(alert.packing.step_plan)}
    lines = []
    for one in alert.evidence:
        key = one["key"]
        limits = standing.limits.get(key, {}) if standing else {}
        centre, now = limits.get("centre"), values.get(key)
        lines.append(
            _line(
                one,
                unit=unit_of(metric_of(key), quantities.get(transition_of(key), "")),
                values=(centre, now.value) if now is not None and centre is not None else None,
                level=judgement.charts["change"].get(key, (0, ""))[1] if judgement else "",
            )
        )
    return tuple(lines)


def curve_of(session: Session, alert: Alert) -> CycleCurve | None:
    """Return the official transition's curve at the alert's latest cycle, over the baseline."""
    packing = alert.packing
    official = transitions.official(transitions.planned(packing.step_plan)).name
    standing = drift_queries.bed_state_to_go_on(session, packing.id)
    return drift.curve_of_cycle(session, packing, standing, name=official, cycle=alert.latest_cycle.number)


def done_near(session: Session, alert: Alert) -> str:
    """Say which cleaning or work was noted about when the bed began to change; empty if none was."""
    events = event_queries.of_packing(session, alert.packing_id)
    starts = cycle_queries.starts(session, alert.packing_id) if events else ()
    return bed_events.noted_near(
        bed_events.placed(events, starts), since=alert.since_cycle, low=alert.since_low, high=alert.since_high
    )


def _line(
    one: Mapping[str, Any], *, unit: str, values: tuple[float, float] | None, level: str
) -> EvidenceLine:
    metric = metric_of(one["key"])
    baseline, now, change = "", "", ""
    if values is not None:
        centre, newest = (metric.shown(value) for value in values)
        baseline, now = words.number(centre, metric.digits), words.number(newest, metric.digits)
        change = words.percent(newest / centre - 1) if metric.scale == "log" and centre > 0 else ""
    return EvidenceLine(
        key=one["key"],
        label=one["label"],
        unit=unit if values else "",
        baseline=baseline,
        now=now,
        change=change,
        shift_sd=one["size"],
        kind=looks.KIND_OF_LEVEL[level],
    )
