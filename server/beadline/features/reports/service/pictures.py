"""Trends, curves and peaks as panels for paper."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.overview import service as overview
from beadline.features.overview.schemas import Trend
from beadline.features.overview.service import Story
from beadline.features.transitions.schemas import CurveView
from beadline.kit import drawing
from beadline.science.drift.reading import transition_of

TREND_IN, CURVE_IN, PEAK_IN = 1.32, 1.7, 3.0


def trends(found: Sequence[Trend], marks: Sequence[tuple[float, str]] = ()) -> list[str]:
    """Draw metrics over the cycles with their limits; what happened stands above the first."""
    panels = [_trend(one, tuple(marks) if i == 0 else ()) for i, one in enumerate(found)]
    return drawing.svgs(panels, height_in=TREND_IN) if panels else []


def _trend(one: Trend, marks: tuple[tuple[float, str], ...]) -> drawing.Panel:
    known = [(point.cycle, point.value, point.kind) for point in one.points if point.value is not None]
    plain = [(x, y) for x, y, kind in known if kind not in ("watch", "act")]
    passed = [(x, y) for x, y, kind in known if kind in ("watch", "act")]
    return drawing.Panel(
        title=_title(one),
        x_title="cycle",
        counted=True,
        rings=_series(plain),
        filled=_series(passed),
        limits=drawing.limits_of((one.alert_low, one.alert_high), (one.action_low, one.action_high)),
        marks=marks,
    )


def _title(one: Trend) -> str:
    """Name a metric with its unit, and the transition that it is of."""
    of = transition_of(one.key)
    return one.title + (f", {one.unit}" if one.unit not in ("", "1") else "") + (f" ({of})" if of else "")


def _series(points: Sequence[tuple[float, float]]) -> drawing.Series | None:
    return drawing.Series([x for x, _ in points], [y for _, y in points]) if points else None


def curve_of(session: Session, story: Story, number: int) -> list[str]:
    """Draw the official transition's curve of a cycle; nothing where it was voided since or has none."""
    if number not in [cycle.number for cycle in story.cycles]:
        return []
    drawable = overview.cycle_view(session, story, number).curves
    return _curve(drawable[0]) if drawable else []


def _curve(view: CurveView) -> list[str]:
    """Draw a transition's curve, and its slope, over the baseline."""
    panels = drawing.curve_panels(
        title=view.transition[:1].upper() + view.transition[1:],
        grid=view.grid_cv,
        fraction=view.fraction,
        low=view.envelope_low,
        high=view.envelope_high,
        density=view.density_per_cv,
        baseline=view.baseline_density_per_cv,
    )
    return drawing.svgs(panels, height_in=CURVE_IN)


def peak(chart: Mapping[str, Any]) -> list[str]:
    """Draw a tracer peak with its fit and the constructions on it, about the peak."""
    first, last = chart["window"] or (chart["volume"][0], chart["volume"][-1])
    room = (last - first) * 0.1
    within = [i for i, at in enumerate(chart["volume"]) if first - room <= at <= last + room]
    volume, signal, fit = (
        [chart[name][i] for i in within] if chart[name] else [] for name in ("volume", "signal", "fit")
    )
    rulers = [(one["line"][0::2], one["line"][1::2]) for one in chart["rulers"]]
    tangents = [(line[0::2], line[1::2]) for line in chart["tangents"]]
    panel = drawing.Panel(
        title=f"Signal, {chart['unit']}, baseline removed",
        x_title="volume from the injection, CV",
        rings=drawing.Series(volume, signal),
        lines=(
            *((drawing.Series(volume, fit, "data"),) if fit else ()),
            *(drawing.Series(x, y, "ink") for x, y in rulers),
            *(drawing.Series(x, y, "thin") for x, y in tangents),
        ),
    )
    return drawing.svgs([panel], height_in=PEAK_IN)
