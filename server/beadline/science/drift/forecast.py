"""How many cycles are left until a limit, with an honest interval, or that nobody can say."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import trend as trends
from beadline.science.drift.onset import without_odd_values
from beadline.science.drift.reading import label_of, metric_of
from beadline.science.drift.settings import FixedLimits

Floats = NDArray[np.float64]
_LEAST_GAIN = 3.0
_SPANS_AHEAD = 5
_TOO_FEW = f"fewer than {trends.MIN_CYCLES} cycles since the last change"


@dataclass(frozen=True)
class LimitForecast:
    """Cycles left until readings first pass one limit.

    Attributes
    ----------
    limit : str
        "alert_low", "alert_high", "action_low" or "action_high".
    value : float
        The limit, in the metric's own unit.
    low, median, high : float or None
        10, 50 and 90 % of the cycles left; None where it lies beyond the horizon.
    """

    limit: str
    value: float
    low: float | None
    median: float | None
    high: float | None


@dataclass(frozen=True)
class Forecast:
    """Trend of one metric and what it means for its limits.

    Attributes
    ----------
    key : str
        Key of the metric.
    steady : bool
        Whether there is a trend to go by.
    slope, slope_u : float
        Change a cycle and its standard uncertainty, on the charted scale (of the logarithm where `log`).
    since : int
        Cycle from which the trend is taken.
    log : bool
        Whether the trend is one of the logarithm.
    limits : tuple of LimitForecast
        Empty where there is no steady trend.
    sentence : str
        In words.
    horizon : int
        Cycles beyond which nothing is said; 0 where there is no steady trend.
    enough : bool
        Whether there were cycles enough to look for a trend.
    """

    key: str
    steady: bool
    slope: float
    slope_u: float
    since: int
    log: bool
    limits: tuple[LimitForecast, ...]
    sentence: str
    horizon: int = 0
    enough: bool = True


def forecast(
    cycles: Sequence[int],
    values: Sequence[float],
    *,
    key: str,
    limits: FixedLimits,
    phi: float,
    horizon: int = trends.HORIZON,
) -> Forecast:
    """Follow the trend of one metric to its limits.

    Parameters
    ----------
    cycles : sequence of int
        Numbers of the usable cycles since the packing, rising.
    values : sequence of float
        Values of the metric in them, in its own unit.
    key : str
        Its key; decides whether the logarithm is followed.
    limits : FixedLimits
        Limits in the metric's own unit.
    phi : float
        Expected correlation of neighbouring cycles; what the series itself shows is weighed with it.
    horizon : int
        Cycles beyond which nothing is said; at most 600.

    Raises
    ------
    ValueError
        If `cycles` and `values` differ in length or cycles do not rise.

    Notes
    -----
    The series is taken as steady until some cycle and as changing in proportion to the cycles since; every
    such beginning is weighed by its likelihood, with first-order autocorrelation and Student's t for the
    unknown spread. Readings to come are drawn with level, slope and noise, and the first beyond the limit
    counts (first passage). After a sudden change only the cycles since then are used. There is a steady trend
    when the slope differs from nothing with a probability of 95 % on its side and over at least 8 cycles, and
    explains the data clearly better than none (log likelihood 3); nothing is said beyond five times the span
    of the trend. Measured on simulated lives, the 80 % interval holds 75 to 90 % for steady wear, and about
    65 % for wear that wanders by a quarter of a standard deviation a cycle; on physically modelled beds
    (tests/benchmarks/forecast.py) 82 %: 76 to 89 % by kind of wear.

    Examples
    --------
    >>> n = np.arange(1, 61)
    >>> rising = 1.0 + 0.005 * np.maximum(n - 20, 0) + 0.01 * np.sin(n * 2.4)
    >>> found = forecast(n, rising, key="wash/skewness", limits=FixedLimits(action_high=1.4), phi=0.0)
    >>> found.steady, 30 < found.limits[0].median < 45
    (True, True)
    """
    numbers, y = np.asarray(cycles, float), np.asarray(values, float)
    if numbers.shape != y.shape or np.any(np.diff(numbers) <= 0):
        raise ValueError("cycles must rise and have one value each.")
    kept = np.isfinite(y)
    numbers, y = numbers[kept], y[kept]
    log = metric_of(key).scale == "log" and bool((y > 0).all())
    scaled = without_odd_values(np.log(y) if log else y)
    start = trends.after_last_step(numbers, scaled, phi)
    if len(y) - start < trends.MIN_CYCLES:
        return _no_trend(key, numbers, log=log, why=_TOO_FEW)
    found = trends.fit(numbers[start:], scaled[start:], phi)
    slope, slope_u = float(np.median(found.slope)), float(np.std(found.slope))
    share = float(np.mean(np.sign(found.slope) == np.sign(slope)))
    if share < 0.95 or found.gain < _LEAST_GAIN:
        return _no_trend(key, numbers, log=log, slope=slope, slope_u=slope_u)
    span = float(numbers[-1] - found.since)
    ahead = min(horizon, trends.HORIZON, round(_SPANS_AHEAD * max(span, 20.0)))
    left = _all_limits(found, limits, log=log, horizon=ahead)
    said = _sentence(key, left, slope, log=log)
    return Forecast(key, True, slope, slope_u, found.since, log, left, said, horizon=ahead)


def _all_limits(
    found: trends.Trend, limits: FixedLimits, *, log: bool, horizon: int
) -> tuple[LimitForecast, ...]:
    rising = bool(np.median(found.slope) > 0)
    names = ("alert_high", "action_high") if rising else ("alert_low", "action_low")
    left = []
    for name in names:
        value = getattr(limits, name)
        if value is None or (log and value <= 0):
            continue
        on_scale = float(np.log(value) if log else value)
        passed = trends.first_passage(found, on_scale, rising=rising, horizon=horizon)
        low, median, high = (float(q) if q < horizon else None for q in np.quantile(passed, (0.1, 0.5, 0.9)))
        left.append(LimitForecast(name, float(value), low, median, high))
    return tuple(left)


def _no_trend(
    key: str, numbers: Floats, *, log: bool, slope: float = 0.0, slope_u: float = 0.0, why: str = ""
) -> Forecast:
    reason = f" ({why})" if why else ""
    sentence = f"No steady trend in {label_of(key)}{reason}; nothing can be said about cycles left."
    since = int(numbers[0]) if len(numbers) else 0
    return Forecast(key, False, slope, slope_u, since, log, (), sentence, enough=not why)


def _sentence(key: str, found: tuple[LimitForecast, ...], slope: float, *, log: bool) -> str:
    label = label_of(key)
    pace = f"{abs(np.expm1(slope)):.2%}" if log else f"{abs(slope):.3g}"
    start = f"{label[:1].upper()}{label[1:]} {'rises' if slope > 0 else 'falls'} by {pace} a cycle"
    if not found:
        return f"{start}; there is no limit on that side."
    parts = [_one_limit(limit) for limit in found]
    return f"{start}; {'; '.join(parts)}."


def _one_limit(limit: LimitForecast) -> str:
    name = limit.limit.split("_")[0]
    if limit.low is None:
        return f"the {name} limit is further off than can be foreseen"
    upper = f"{limit.high:.0f}" if limit.high is not None else "more than can be foreseen"
    return f"{limit.low:.0f} to {upper} cycles left until the {name} limit"
