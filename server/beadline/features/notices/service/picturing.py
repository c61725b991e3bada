"""What the pictures of a message show: the metric that moved most over the bed's life, and its curve now."""

from __future__ import annotations

from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.drift.schemas import CycleCurve
from beadline.features.notices.schemas import Trend
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import unit_of
from beadline.science.drift.reading import label_of, metric_of, transition_of
from beadline.store.tables import Alert, BedState


def trend_of(session: Session, alert: Alert) -> Trend | None:
    """Return the trend of the first metric of an alert's evidence that has limits; None if none has.

    Parts of the curve are judged by their shift alone and have no value to draw.
    """
    standing = drift_queries.bed_state_to_go_on(session, alert.packing_id)
    if standing is None:
        return None
    keys = [one["key"] for one in alert.evidence if one["key"] in standing.limits]
    drawable = ((key, _values(session, alert.packing_id, key)) for key in keys)
    key, values = next(((key, values) for key, values in drawable if values), ("", {}))
    if not values:
        return None
    metric = metric_of(key)
    quantities = {one.name: one.quantity for one in transitions.planned(alert.packing.step_plan)}
    unit = unit_of(metric, quantities.get(transition_of(key), ""))
    label = label_of(key)
    return Trend(
        title=label[:1].upper() + label[1:] + (f" [{unit}]" if unit and unit != "1" else ""),
        cycles=tuple(values),
        values=tuple(metric.shown(value) for value in values.values()),
        centre=metric.shown(standing.limits[key]["centre"]),
        alert=_limits(standing, key, "alert"),
        action=_limits(standing, key, "action"),
        since_cycle=alert.since_cycle,
    )


def curve_of(session: Session, alert: Alert) -> CycleCurve | None:
    """Return the curve of an alert's latest cycle, of the transition that moved most; None if it has none."""
    packing = alert.packing
    official = transitions.official(transitions.planned(packing.step_plan)).name
    moved = next((name for one in alert.evidence if (name := transition_of(one["key"]))), official)
    standing = drift_queries.bed_state_to_go_on(session, packing.id)
    return drift.curve_of_cycle(session, packing, standing, name=moved, cycle=alert.latest_cycle.number)


def _values(session: Session, packing_id: int, key: str) -> dict[int, float]:
    """Return a key's stored value by the number of the cycle, where there is one."""
    name = metric_of(key).name
    cycles = {one.id: one for one in cycle_queries.of_packing(session, packing_id)}
    if not transition_of(key):
        found = {one.number: one.conditions.get(name) for one in cycles.values()}
    else:
        found = {
            cycles[row.cycle_id].number: row.estimates.get(name)
            for row in transition_queries.of_packing(session, packing_id)
            if row.usable and row.name == transition_of(key)
        }
    return {number: pair[0] for number, pair in sorted(found.items()) if pair is not None}


def _limits(standing: BedState, key: str, which: str) -> tuple[float | None, float | None]:
    """Return limits in the unit on screen, as the bed's page shows them."""
    metric = metric_of(key)
    lower, upper = (None if it is None else metric.shown(it) for it in drift.limits_of(standing, key, which))
    return lower, upper
