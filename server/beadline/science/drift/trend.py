"""The trend of one series: since when it has been steady, how steep, and where its readings go from here."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import changes
from beadline.science.drift.evidence import PHI_GRID, PHI_SPREAD

Floats = NDArray[np.float64]
DRAWS = 500
MIN_CYCLES = 12
MIN_SPAN = 7
HORIZON = 600
_STEP_MARGIN = 1.5
_ANY_CHANGE = 3.0
# Wear does not keep its pace exactly: its level wanders by this much a cycle, in standard deviations.
_WANDER = 0.12


@dataclass(frozen=True)
class Trend:
    """Draws of level and slope, the noise, and the log likelihood gained over no trend.

    Attributes
    ----------
    level, slope : array
        Level at the newest cycle and change a cycle, a draw each.
    sd, phi : float
        Spread and autocorrelation of the readings about the trend.
    since : int
        Cycle from which the trend is likeliest.
    gain : float
        Log likelihood gained over no trend.
    """

    level: Floats
    slope: Floats
    sd: float
    phi: float
    since: int
    gain: float


@dataclass(frozen=True)
class _Explained:
    """What a change from each cycle on explains: log likelihood, size and variance; and without any."""

    log_like: Floats
    size: Floats
    variance: Floats
    none: float


def after_last_step(numbers: Floats, y: Floats, phi: float) -> int:
    """Index of the first cycle after the last sudden change; 0 where none is likelier than a trend."""
    start = 0
    while len(y) - start >= 2 * MIN_CYCLES:
        x, part = numbers[start:], y[start:]
        step = _explained(x, part, phi, "step")
        ramp = _explained(x, part, phi, "ramp", lead=1.0).log_like[:-3].max()
        inner = step.log_like[3:-3]
        if inner.max() < max(ramp, step.none + _ANY_CHANGE) + _STEP_MARGIN:
            break
        start += 3 + int(inner.argmax())
    return start


def fit(numbers: Floats, y: Floats, phi: float) -> Trend:
    """Draw level and slope of a line that is flat until some cycle.

    Parameters
    ----------
    numbers, y : array
        Cycles and values on the charted scale.
    phi : float
        Autocorrelation expected; what the series itself shows is weighed with it.
    """
    phi = _likeliest_phi(numbers, y, phi)
    rng = np.random.default_rng(20)
    n = len(y)
    found = _explained(numbers, y, phi, "ramp")
    log_like = found.log_like[: n - MIN_SPAN]
    weight = np.exp(log_like - log_like.max())
    chosen = rng.choice(len(log_like), DRAWS, p=weight / weight.sum())
    slope = found.size[chosen] + np.sqrt(found.variance[chosen]) * rng.standard_t(n - 3, DRAWS)
    best = int(log_like.argmax())
    sd = float(np.sqrt(np.exp(-2 * log_like[best] / (n - 2)) / (n - 2) / (1 - phi**2)))
    base = _levels(numbers, y, phi, chosen, slope)
    level = base + slope * (numbers[-1] - numbers[chosen])
    level += sd * np.sqrt((1 + phi) / (1 - phi) / n) * rng.standard_normal(DRAWS)
    return Trend(level, slope, sd, phi, int(numbers[best]), float(log_like[best]) - found.none)


def first_passage(trend: Trend, limit: float, *, rising: bool, horizon: int) -> Floats:
    """Cycles until the first reading beyond a limit, a draw each; the horizon where there is none."""
    ahead = np.arange(1, horizon + 1, dtype=np.float32)
    room = (limit - trend.level)[:, None].astype(np.float32) - trend.slope[:, None].astype(np.float32) * ahead
    noise = _noise(trend.phi)[:, :horizon] * np.float32(trend.sd)
    beyond = noise > room if rising else noise < room
    return np.where(beyond.any(1), beyond.argmax(1) + 1.0, float(horizon))


def paths(trend: Trend, *, ahead: int) -> Floats:
    """Readings of so many cycles to come on the charted scale [draws, cycles]."""
    noise = _noise(trend.phi)[:, :ahead] * trend.sd
    found: Floats = trend.level[:, None] + trend.slope[:, None] * np.arange(1, ahead + 1) + noise
    return found


def _explained(x: Floats, y: Floats, phi: float, kind: changes.Kind, *, lead: float = 0.0) -> _Explained:
    """Weigh a change from each cycle on, with the spread unknown."""
    found, n = changes.regressed(x, y, phi=phi, kind=kind, lead=lead), len(y)
    rest = np.maximum(found.whole - found.size**2 * found.weight, 1e-18 * n)
    half = -0.5 * (n - 2)
    variance = rest / (n - 2) / found.weight
    return _Explained(half * np.log(rest), found.size, variance, half * float(np.log(found.whole)))


def _likeliest_phi(numbers: Floats, y: Floats, expected: float) -> float:
    """Autocorrelation that goes best with some trend, weighed with what is expected of it."""
    scores = []
    for phi in PHI_GRID:
        prior = -0.5 * ((phi - expected) / PHI_SPREAD) ** 2 + 0.5 * np.log(1 - phi**2)
        scores.append(float(_explained(numbers, y, float(phi), "ramp").log_like[:-MIN_SPAN].max() + prior))
    return float(PHI_GRID[int(np.argmax(scores))])


def _levels(numbers: Floats, y: Floats, phi: float, begin: NDArray[np.int64], slope: Floats) -> Floats:
    """Constants that go with slopes: mean of what the ramps leave, end weights for autocorrelation."""
    q, n = 1 - phi, len(y)
    weight = np.full(n, q)
    weight[[0, -1]] = 1.0
    ramp = changes.later(weight * numbers) - numbers * changes.later(weight)
    level: Floats = (weight @ y - slope * ramp[begin]) / weight.sum()
    return level


@lru_cache(maxsize=len(PHI_GRID))
def _noise(phi: float) -> NDArray[np.float32]:
    """Autocorrelated noise of readings to come, and a slow wandering of the wear [draws, cycles]."""
    rng = np.random.default_rng(21)
    noise = rng.standard_normal((HORIZON + 1, DRAWS))
    for t in range(1, HORIZON + 1):
        noise[t] = phi * noise[t - 1] + np.sqrt(1 - phi**2) * noise[t]
    wander = _WANDER * np.cumsum(rng.standard_normal((DRAWS, HORIZON)), axis=1)
    found: NDArray[np.float32] = (noise[1:].T + wander).astype(np.float32)
    return found
