"""Where one metric goes over a planned number of cycles, and how likely it stays within its limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import trend as trends
from beadline.science.drift.forecast import Forecast, LimitForecast, forecast
from beadline.science.drift.onset import without_odd_values
from beadline.science.drift.settings import FixedLimits

Floats = NDArray[np.float64]
Basis = Literal["steady trend", "no steady trend", "too few cycles", "beyond what can be foreseen"]
_BAND = (0.1, 0.5, 0.9)
# A wear that begins: slope a cycle in standard deviations; chosen by tests/benchmarks/prospect.py
_BEGINS = 0.02


@dataclass(frozen=True)
class Prospect:
    """What can be said of the cycles to come.

    Attributes
    ----------
    key : str
        Key of the metric.
    basis : {"steady trend", "no steady trend", "too few cycles", "beyond what can be foreseen"}
        What there is to go by.
    cycles : tuple of int
        The planned cycles; empty where nothing is said of them.
    low, median, high : tuple of float
        10, 50 and 90 % of the reading in each of them; without a steady trend they allow for one that begins.
    within_alert, within_action : float or None
        Probability that every reading stays within the limits; None without limits or a steady trend.
    left : tuple of LimitForecast
        Cycles left until the limits ahead.
    """

    key: str
    basis: Basis
    cycles: tuple[int, ...]
    low: tuple[float, ...]
    median: tuple[float, ...]
    high: tuple[float, ...]
    within_alert: float | None
    within_action: float | None
    left: tuple[LimitForecast, ...]


def prospect(
    cycles: Sequence[int],
    values: Sequence[float],
    *,
    key: str,
    limits: FixedLimits,
    phi: float,
    ahead: int,
) -> Prospect:
    """Follow one metric over the cycles of a planned campaign.

    Parameters
    ----------
    cycles, values, key, limits, phi
        As for `forecast`.
    ahead : int
        How many cycles are planned after the last one, 1 to 600.

    Raises
    ------
    ValueError
        If `ahead` is out of range, or the series is none.

    Notes
    -----
    The same trend as that of `forecast`; readings to come are drawn with level, slope, noise and a slow
    wandering of the wear. Where there is no steady trend, half of the draws stay at the mean and half follow
    the line that fits, each with a small slope more for a wear that begins; no probability is given.

    Examples
    --------
    >>> n = np.arange(1, 61)
    >>> rising = 1.0 + 0.005 * np.maximum(n - 20, 0) + 0.01 * np.sin(n * 2.4)
    >>> near, far = (
    ...     prospect(n, rising, key="wash/skewness", limits=FixedLimits(action_high=1.4), phi=0.0, ahead=k)
    ...     for k in (15, 80)
    ... )
    >>> near.basis, near.within_action > 0.9, far.within_action < 0.1, near.within_alert
    ('steady trend', True, True, None)
    """
    if not 1 <= ahead <= trends.HORIZON:
        raise ValueError(f"ahead must lie between 1 and {trends.HORIZON}, got {ahead}")
    found = forecast(cycles, values, key=key, limits=limits, phi=phi)
    if not found.enough:
        return _unsaid(key, "too few cycles", found)
    if found.steady and ahead > found.horizon:
        return _unsaid(key, "beyond what can be foreseen", found)
    numbers, y = np.asarray(cycles, float), np.asarray(values, float)
    kept = np.isfinite(y)
    numbers, y = numbers[kept], y[kept]
    scaled = without_odd_values(np.log(y) if found.log else y)
    start = trends.after_last_step(numbers, scaled, phi)
    trend = trends.fit(numbers[start:], scaled[start:], phi)
    if not found.steady:
        trend = _perhaps_beginning(trend, float(scaled[start:].mean()))
    paths = trends.paths(trend, ahead=ahead)
    paths = np.exp(paths) if found.log else paths
    low, median, high = (tuple(float(v) for v in row) for row in np.quantile(paths, _BAND, axis=0))
    first = int(numbers[-1]) + 1
    return Prospect(
        key=key,
        basis="steady trend" if found.steady else "no steady trend",
        cycles=tuple(range(first, first + ahead)),
        low=low,
        median=median,
        high=high,
        within_alert=_within(paths, limits.alert_low, limits.alert_high) if found.steady else None,
        within_action=_within(paths, limits.action_low, limits.action_high) if found.steady else None,
        left=found.limits,
    )


def _perhaps_beginning(trend: trends.Trend, mean: float) -> trends.Trend:
    """Return draws of a bed that stays as it is, or follows the line that fits, or begins to wear."""
    rng = np.random.default_rng(22)
    stays = np.arange(len(trend.slope)) % 2 == 0
    begins = _BEGINS * trend.sd * rng.standard_t(3, len(trend.slope))
    level, slope = np.where(stays, mean, trend.level), np.where(stays, 0.0, trend.slope) + begins
    return replace(trend, level=level, slope=slope)


def _within(paths: Floats, low: float | None, high: float | None) -> float | None:
    """Share of the draws whose every reading stays within; None where there is no limit."""
    if low is None and high is None:
        return None
    inside = np.ones(len(paths), bool)
    if low is not None:
        inside &= (paths >= low).all(1)
    if high is not None:
        inside &= (paths <= high).all(1)
    return float(inside.mean())


def _unsaid(key: str, basis: Basis, found: Forecast) -> Prospect:
    return Prospect(key, basis, (), (), (), (), None, None, found.limits)
