"""What was found of a planned transition, and what was computed from it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.kit import looks, words
from beadline.reading import PlannedTransition
from beadline.science.metrics import Metric
from beadline.science.transition import TransitionResult

NOT_FOUND = "not found"
TYPED = "typed by hand"
SIGNAL_UNITS = {"conductivity": "mS/cm", "uv": "mAU", "ph": "pH"}
SIGNAL_METRICS = ("step_height", "plateau_before", "plateau_after")


@dataclass(frozen=True, slots=True)
class Analysed:
    """One planned transition of a run.

    Attributes
    ----------
    plan : PlannedTransition
        What was looked for.
    how_found : str
        How the switch was found, or why it was not.
    mend : str
        What to do when it was not found; empty otherwise.
    switch_volume_m3 : float or None
        Where the switch is, from the trace's start [m3].
    result : TransitionResult or None
        What was computed; None when the transition was not found.
    """

    plan: PlannedTransition
    how_found: str
    mend: str
    switch_volume_m3: float | None
    result: TransitionResult | None

    @property
    def usable(self) -> bool:
        """Whether the numbers may be charted."""
        return self.result is not None and self.result.usable


@dataclass(frozen=True, slots=True, eq=False)
class Reference:
    """The mean curve of a transition's first usable cycles, and the number of the last of these."""

    after_cycle: int
    fraction: NDArray[np.float64]


def number_line(
    metric: Metric,
    pair: tuple[float, float] | None,
    *,
    quantity: str = "",
    limits: tuple[float | None, float | None] = (None, None),
    level: str = "",
    why_not: str = "",
) -> looks.NumberLine:
    """Write a stored value with its uncertainty and limits in the units of the screen.

    Examples
    --------
    >>> from beadline.science import metrics
    >>> hetp = metrics.by_name(metrics.TRANSITION)["hetp_moments"]
    >>> line = number_line(hetp, (4.7e-4, 1e-5), limits=(None, 4.1e-4), level="action")
    >>> line.value, line.unit, line.limit, line.kind
    ('0.0470', 'cm', 'at most 0.0410', 'act')
    """
    low, high = (None if limit is None else metric.shown(limit) for limit in limits)
    value, u = "", ""
    if pair:
        value, u = words.with_uncertainty(
            metric.shown(pair[0]), metric.shown_difference(pair[1]), metric.digits
        )
        u = u if pair[1] > 0 else ""  # nobody said how well a typed value is known
    return looks.NumberLine(
        label=metric.label,
        unit=unit_of(metric, quantity),
        value=value,
        u=u,
        limit=looks.span(low, high, metric.digits),
        kind=looks.KIND_OF_LEVEL[level] if pair and (level or limits != (None, None)) else "void",
        doubt=why_not,
    )


def unit_of(metric: Metric, quantity: str) -> str:
    """Return a metric's unit on screen; that of a plateau is the unit of the signal's quantity."""
    return SIGNAL_UNITS.get(quantity, "") if metric.name in SIGNAL_METRICS else metric.unit


@dataclass(frozen=True, slots=True)
class BesideCurve:
    """Another cycle's curve on the same grid, of this bed or another."""

    label: str
    fraction: tuple[float, ...]
    density_per_cv: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveView:
    """One transition of one cycle over the baseline envelope, on a grid in column volumes."""

    transition: str
    grid_cv: tuple[float, ...]
    fraction: tuple[float, ...]
    envelope_low: tuple[float, ...]
    envelope_high: tuple[float, ...]
    density_per_cv: tuple[float, ...]
    baseline_density_per_cv: tuple[float, ...]
    beside: tuple[BesideCurve, ...] = ()

    def chart_data(self) -> dict[str, Any]:
        """Return what the chart needs, one list a quantity."""
        return {
            "transition": self.transition,
            "grid": words.short(self.grid_cv),
            "fraction": words.short(self.fraction),
            "low": words.short(self.envelope_low),
            "high": words.short(self.envelope_high),
            "density": words.short(self.density_per_cv),
            "baseline": words.short(self.baseline_density_per_cv),
            "beside": [
                {
                    "label": other.label,
                    "fraction": words.short(other.fraction),
                    "density": words.short(other.density_per_cv),
                }
                for other in self.beside
            ],
        }
