"""Metrics over the cycles, with baseline band and limits."""

from __future__ import annotations

from beadline.features.overview.schemas import Point, Trend
from beadline.features.overview.service.story import Story
from beadline.features.transitions.schemas import unit_of
from beadline.kit import looks
from beadline.science.drift.reading import metric_of
from beadline.science.metrics import Metric
from beadline.store.tables import Cycle

Ends = tuple[float | None, float | None]
LEADING = ("hetp_moments", "asymmetry", "mean_cv")
FURTHER = (
    "hetp_width",
    "early_foot",
    "late_tail",
    "variance_cv2",
    "skewness",
    "excess_kurtosis",
    "v05_cv",
    "v10_cv",
    "v50_cv",
    "v90_cv",
    "v95_cv",
    "width_10_90_cv",
    "steepest_slope_per_cv",
    "difference_from_reference",
    "step_height",
    "noise",
)
OF_THE_CYCLE = ("pressure_drop_pa", "flow_m3_s", "temperature_k")


def trends(story: Story, transition: str) -> tuple[Trend, ...]:
    """Return the trends of one transition and of the whole cycle, the leading ones first."""
    keys = [f"{transition}/{name}" for name in (*LEADING, *FURTHER)] + list(OF_THE_CYCLE)
    return tuple(trend(story, key) for key in keys if any(key in v for v in story.values.values()))


def trend(story: Story, key: str) -> Trend:
    """Return one metric over the cycles, in the units of the screen."""
    metric = metric_of(key)
    band = story.bands.get(key)
    alert, action, alert_set, action_set = (
        _on_screen(found(key, which), metric)
        for found in (story.from_baseline, story.by_procedure)
        for which in ("alert", "action")
    )
    return Trend(
        key=key,
        title=metric.label,
        unit=unit_of(metric, story.quantity_of(key)),
        digits=metric.digits,
        points=tuple(_point(story, cycle, key, metric) for cycle in story.cycles),
        centre=metric.shown(band[0]) if band else None,
        band=(metric.shown(band[1]), metric.shown(band[2])) if band else None,
        alert_low=alert[0],
        alert_high=alert[1],
        action_low=action[0],
        action_high=action[1],
        alert_by_procedure=alert_set,
        action_by_procedure=action_set,
    )


def _on_screen(limits: Ends, metric: Metric) -> Ends:
    low, high = (None if limit is None else metric.shown(limit) for limit in limits)
    return low, high


def _point(story: Story, cycle: Cycle, key: str, metric: Metric) -> Point:
    pair = story.values[cycle.id].get(key)
    judgement = story.judgements.get(cycle.id)
    ewma = judgement.charts["ewma"].get(key) if judgement else None
    return Point(
        cycle=cycle.number,
        value=metric.shown(pair[0]) if pair else None,
        u=metric.shown_difference(pair[1]) if pair and pair[1] > 0 else None,
        ewma=metric.shown(ewma) if ewma is not None else None,
        kind=_kind(story, cycle, key) if pair else "void",
    )


def _kind(story: Story, cycle: Cycle, key: str) -> looks.Kind:
    return "out" if cycle.excluded_at is not None else looks.KIND_OF_LEVEL[story.level(cycle, key)]
