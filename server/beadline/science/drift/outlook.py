"""Cycles left of a whole bed: the trends of its leading metrics, followed to the limits that stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from beadline.science.drift.forecast import LimitForecast, forecast
from beadline.science.drift.life import State
from beadline.science.drift.settings import FixedLimits

Kind = Literal["too few cycles", "no steady trend", "steady trend"]
_RECENT = 3
_LIMITS = ("alert_low", "alert_high", "action_low", "action_high")


@dataclass(frozen=True)
class Outlook:
    """What can be said of one metric's way to its limits.

    Attributes
    ----------
    key : str
        Key of the metric.
    trend : {"too few cycles", "no steady trend", "steady trend"}
        What there is to go by.
    rising : bool
        Which way a steady trend goes.
    reached : tuple of str
        Limits that the median of the last three cycles is beyond.
    left : tuple of LimitForecast
        Cycles left until the limits ahead, where there is a steady trend.
    horizon : int
        Cycles beyond which nothing is said.
    """

    key: str
    trend: Kind
    rising: bool
    reached: tuple[str, ...]
    left: tuple[LimitForecast, ...]
    horizon: int

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON; cycles left as tenths."""
        left = [
            asdict(limit) | {n: _tenths(getattr(limit, n)) for n in ("low", "median", "high")}
            for limit in self.left
        ]
        return asdict(self) | {"reached": list(self.reached), "left": left}


def outlook(state: State, keys: Sequence[str]) -> tuple[Outlook, ...]:
    """Follow the trends of some metrics to their limits.

    Parameters
    ----------
    state : State
        Of the bed after its newest cycle.
    keys : sequence of str
        Keys to follow; those that the baseline does not know are left out.

    Returns
    -------
    tuple of Outlook
        In the order of the keys; empty while the baseline is learnt.

    Notes
    -----
    Limits set by procedure go before those of the individuals chart. The bed is taken to be run on as it was;
    every number is what the charts remember of it, a hundredth of a baseline standard deviation fine.

    Examples
    --------
    >>> from beadline.science.drift.life import replay
    >>> from beadline.science.drift.reading import Reading
    >>> from beadline.science.drift.settings import Settings
    >>> from beadline.science.estimates import Estimate
    >>> def value(n): return 1.0 + 0.01 * np.sin(2.4 * n) + 0.002 * max(n - 20, 0)
    >>> worn = [Reading(n, {"wash/asymmetry": Estimate(value(n), 0.001)}) for n in range(1, 41)]
    >>> limits = {"wash/asymmetry": FixedLimits(action_high=1.2)}
    >>> found = outlook(replay(worn, Settings(fixed_limits=limits)).state, ["wash/asymmetry"])[0]
    >>> found.trend, [(limit.limit, 40 < limit.median < 80) for limit in found.left if limit.value == 1.2]
    ('steady trend', [('action_high', True)])
    """
    return tuple(_of_key(state, key) for key in keys if state.baseline and key in state.baseline.keys)


def _of_key(state: State, key: str) -> Outlook:
    cycles, values = state.series(key)
    limits = _limits(state, key)
    found = forecast(cycles.tolist(), values.tolist(), key=key, limits=limits, phi=state.phi)
    recent = values[np.isfinite(values)][-_RECENT:]
    middle = float(np.median(recent)) if len(recent) else np.nan
    reached = tuple(name for name in _LIMITS if _beyond(middle, name, getattr(limits, name)))
    trend: Kind = "steady trend" if found.steady else "no steady trend" if found.enough else "too few cycles"
    left = tuple(limit for limit in found.limits if limit.limit not in reached)
    return Outlook(key, trend, found.slope > 0, reached, left, found.horizon)


def _limits(state: State, key: str) -> FixedLimits:
    """The limits that stand: by procedure where set, else those of the individuals chart."""
    fixed = state.settings.fixed_limits.get(key, FixedLimits())
    charted = state.individuals(key)
    pairs = {name: (getattr(fixed, name), getattr(charted, name)) for name in _LIMITS}
    return FixedLimits(**{name: usual if own is None else own for name, (own, usual) in pairs.items()})


def _beyond(value: float, name: str, limit: float | None) -> bool:
    if limit is None:
        return False
    return value > limit if name.endswith("high") else value < limit


def _tenths(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
