"""What the charts of a bed took from its baseline, once and for all: series, their scale, and the limits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import baseline as baselines
from beadline.science.drift import directions, panel, storing
from beadline.science.drift.baseline import Baseline
from beadline.science.drift.panel import Panel
from beadline.science.drift.prior import Prior
from beadline.science.drift.settings import Settings

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Fitted:
    """All that the baseline determines, so that it need not be learnt again with every cycle.

    Attributes
    ----------
    plan : Plan
        The series under watch.
    centre, sd : array
        Of each series over the baseline.
    worth : array
        Degrees of freedom of each series' spread that sister beds are worth.
    panel : Panel
        The charts and their limits.
    """

    plan: directions.Plan
    centre: Floats
    sd: Floats
    worth: Floats
    panel: Panel

    def series_of(self, z: Floats) -> Floats:
        """Standardised series [cycles, series] of standardised values [cycles, keys]."""
        y: Floats = (storing.rounded(self.plan.combine(z)) - self.centre) / self.sd
        return y

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        numbers = np.concatenate([self.centre, self.sd, self.worth, *self.panel.limits()])
        return {
            "series": [[s.name, s.role, s.side, s.share] for s in self.plan.series],
            "weights": storing.packed_exactly(self.plan.weights),
            "numbers": storing.packed_exactly(numbers),
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any], baseline: Baseline, settings: Settings) -> Fitted:
        """Read back what `to_dict` gave."""
        series = tuple(directions.Series(*one) for one in stored["series"])
        n, m = len(series), len(baseline.keys)
        plan = directions.Plan(series, storing.unpacked_exactly(stored["weights"]).reshape(m, n))
        numbers = storing.unpacked_exactly(stored["numbers"])
        centre, sd, worth, *limits = np.split(numbers, np.cumsum([n, n, n, m, m, m, m, n]))
        board = panel.with_limits(plan, limits, baseline=baseline, settings=settings)
        return cls(plan, centre, sd, worth, board)


def fit(baseline: Baseline, z: Floats, *, settings: Settings, prior: Prior | None, phi: float) -> Fitted:
    """Choose the series of a bed and their limits.

    Parameters
    ----------
    baseline : Baseline
        Centre and spread of every key.
    z : array
        Standardised values of the baseline cycles [cycles, keys].
    settings : Settings
        The false-alarm rates.
    prior : Prior or None
        What sister beds have shown of the spread.
    phi : float
        Expected autocorrelation.

    Examples
    --------
    >>> from beadline.science.drift.reading import Reading
    >>> from beadline.science.estimates import Estimate
    >>> cycles = [Reading(n, {"wash/skewness": Estimate(0.1 * (n % 3), 0.01)}) for n in range(12)]
    >>> baseline, settings = baselines.learn(cycles, Settings()), Settings()
    >>> found = fit(baseline, baseline.standardised(cycles), settings=settings, prior=None, phi=0.3)
    >>> again = Fitted.from_dict(found.to_dict(), baseline, settings)
    >>> np.array_equal(again.panel.change.alert, found.panel.change.alert)
    True
    """
    plan = directions.plan(baseline, z, settings)
    worth = _known_worth(plan, baseline, prior)
    centre, own_sd = baselines.robust_moments(storing.rounded(plan.combine(z)))
    own_squares = (len(z) - 1) * np.maximum(own_sd, 1e-3) ** 2
    sd = np.sqrt((own_squares + worth) / (len(z) - 1 + worth))
    board = panel.build(plan, z, baseline=baseline, settings=settings, phi=phi, known_sd_worth=worth)
    return Fitted(plan, centre, sd, worth, board)


def _known_worth(plan: directions.Plan, baseline: Baseline, prior: Prior | None) -> Floats:
    """Degrees of freedom of the fleet's spread, for series that rest on one key."""
    known = {} if prior is None else prior.worth
    weight = np.abs(plan.weights)
    single = np.count_nonzero(weight > 0.05, axis=0) == 1
    worth = np.array([known.get(baseline.keys[i], 0.0) for i in weight.argmax(axis=0)])
    return np.where(single, worth, 0.0)
