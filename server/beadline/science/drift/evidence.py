"""Evidence that a series has changed, from every possible beginning of a step or of a ramp.

For each beginning on a ladder of ages the series is regressed on its mean and on the change, with first-order
autocorrelation and the spread left unknown. Mean and spread are thereby learnt from every cycle before the
change and not from the baseline alone, and in control the score has one and the same distribution whatever
the length of the baseline.

References
----------
Hawkins, D. M., Qiu, P., Kang, C. W. (2003), The changepoint model for statistical process control,
Journal of Quality Technology 35, 355-366: the form with mean and spread unknown (from memory).
Wallace, D. L. (1959), Annals of Mathematical Statistics 30, 1121-1130: Student's t as a normal score
(from memory).
"""

from __future__ import annotations

import copy
import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import onset as onsets
from beadline.science.drift import surprises
from beadline.science.drift.surprises import Sums

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

PHI_GRID: Floats = np.array([0.0, 0.15, 0.3, 0.45, 0.6])
PHI_SPREAD = 0.15
_LARGEST_LOG = 600.0
_LARGEST_PART = 0.999998

_STEP_AGES = (1, 2, 3, 4, 5, 6, 8, 11, 15, 21, 30, 42, 60, 90, 150)
_RAMP_AGES = (24, 34, 48, 68, 96, 140, 200, 300)
AGES: Ints = np.array(_STEP_AGES + _RAMP_AGES)
_IS_RAMP: NDArray[np.bool_] = np.arange(len(AGES)) >= len(_STEP_AGES)
# Looks at so many cycles at a time: what they share stays in the processor's cache.
_BLOCK = 6
_FEWEST = 4

# Sudden large changes and slow ramps are what a two-sided metric with half the budget a side is late for.
WEIGHTS: Floats = np.sqrt(AGES) * np.where(_IS_RAMP | (AGES <= 3), 2.0, 1.0)
TEMPER = 0.8
PHI_TOLL = 1.2


@dataclass(frozen=True)
class Scores:
    """What looks found: a number a series for each cycle looked at [cycles, series].

    Attributes
    ----------
    up, down : array
        Normal score of the best upward and downward change; 0 where there is none.
    phi : array
        Mean autocorrelation under the change that fits best.
    """

    up: Floats
    down: Floats
    phi: Floats


@dataclass(frozen=True)
class _Steady:
    """Regression on a constant mean: its squares, its covariance, what it leaves, and how likely it is."""

    scc: Floats
    sce: Floats
    rest: Floats
    log_like: Floats


class ChangeEvidence:
    """Running sums of many series, one value of each a cycle.

    Parameters
    ----------
    n_series : int
        Number of series.
    phi : float
        Autocorrelation expected before any cycle is seen.
    phi_spread : float
        How far (one standard deviation) a single series may lie from it; 0 takes `phi` as known.
    known_sd_worth : array, optional
        Degrees of freedom that a spread of 1 is worth in advance, from sister beds.

    Examples
    --------
    >>> steady, shifted = [0.4, -1.0, 0.7, -0.3] * 5, [3.0, 3.4, 2.8]
    >>> watch = ChangeEvidence(1, phi=0.0, phi_spread=0.0)
    >>> watch.extend(np.array([steady + shifted]).T)
    >>> bool(watch.looks().up[0, 0] > 3.5)
    True
    """

    def __init__(
        self,
        n_series: int,
        *,
        phi: float,
        phi_spread: float = PHI_SPREAD,
        known_sd_worth: Floats | None = None,
    ) -> None:
        known = phi_spread <= 0
        self.phi = (np.array([phi]) if known else PHI_GRID)[:, None]
        self._log_prior = np.zeros_like(self.phi) if known else -0.5 * ((self.phi - phi) / phi_spread) ** 2
        self._log_prior = self._log_prior + 0.5 * np.log(1 - self.phi**2)
        self._worth = np.zeros(n_series) if known_sd_worth is None else known_sd_worth
        self._surprises = surprises.Surprises(n_series, self.phi)
        self._known_squares = self._worth * (self._surprises.innovation_sd * surprises.MILLI) ** 2
        self._templates = _template_sums(self.phi)

    @property
    def n(self) -> int:
        """Cycles seen."""
        return self._surprises.n

    def extend(self, rows: Floats) -> None:
        """Add cycles one after another [cycles, series]; a missing value counts as what was expected."""
        self._surprises.extend(rows)

    def looks(self, count: int = 1) -> Scores:
        """Score every series at each of the newest cycles, for a change that began at any time up to it."""
        first = self.n - count + 1
        edges = {*range(first, self.n + 1, _BLOCK), *(AGES + 2).tolist(), _FEWEST, self.n + 1}
        inside = sorted(n for n in edges if first <= n <= self.n + 1)
        known = np.arange(first, self.n + 1)
        begins = (known[:, None] - AGES).ravel()
        sums = self._surprises.before(np.union1d(known, begins[begins > 0]))
        parts = [self._scores(np.arange(low, high), sums) for low, high in itertools.pairwise(inside)]
        up, down, phi = (np.concatenate([getattr(p, name) for p in parts]) for name in ("up", "down", "phi"))
        return Scores(up, down, phi)

    def _scores(self, n: Ints, sums: Sums) -> Scores:
        """Score cycles that reach back to the same ages, the first `n` cycles known at each."""
        steady = self._steady(n, sums)
        plain = np.exp(steady.log_like - steady.log_like.max(1, keepdims=True))
        if n[0] < _FEWEST:
            nothing = np.zeros((len(n), len(self._worth)))
            return Scores(nothing, nothing, (plain * self.phi).sum(1) / plain.sum(1))
        keep = n[0] - 2 >= AGES
        explained, part = self._explained(n, keep, steady, sums)
        power = -0.5 * TEMPER * (n[:, None, None, None] - 2 + self._worth)
        part /= steady.rest[:, None]
        np.minimum(part, np.minimum(_LARGEST_PART, -np.expm1(_LARGEST_LOG / power)), out=part)
        ratios = np.log(np.subtract(1.0, part, out=part), out=part)
        ratios *= power
        np.exp(ratios, out=ratios)
        ratios -= 1.0
        upwards = np.where(explained > 0, ratios, 0.0)
        share = WEIGHTS[keep] / WEIGHTS[keep].sum()
        up, phi_up = self._score(1.0 + _averaged(share, upwards), plain)
        down, phi_down = self._score(1.0 + _averaged(share, np.subtract(ratios, upwards, out=ratios)), plain)
        return Scores(up, down, np.where(up >= down, phi_up, phi_down))

    def onset(self, series: int, sign: float, y: Floats) -> onsets.Onset:
        """Most likely beginning of a change among a series' first values, with an interval of about 80 %."""
        known = np.array([len(y)])
        log_like = self._steady(known, self._surprises.before(known)).log_like
        phi = float(self.phi[int(log_like[0, :, series].argmax()), 0])
        return onsets.dated(onsets.without_odd_values(np.nan_to_num(y)), phi=phi, sign=sign)

    def _steady(self, n: Ints, sums: Sums) -> _Steady:
        """What a constant mean leaves of the first `n` cycles."""
        cycles, q, row = n[:, None, None], 1 - self.phi, sums.row[n]
        first, innovation_sd = self._surprises.of(1), self._surprises.innovation_sd
        scc = (1 - self.phi**2) + (cycles - 1) * q * q
        sce = q * (sums.plain[row] - first) + innovation_sd * first
        floor = 0.04 * cycles * (innovation_sd * surprises.MILLI) ** 2
        rest = np.maximum(sums.squared[row] - sce**2 / scc, floor) + self._known_squares
        log_like = self._log_prior - 0.5 * (cycles - 1 + self._worth) * np.log(rest) - 0.5 * np.log(scc)
        return _Steady(scc, sce, rest, log_like)

    def _explained(
        self, n: Ints, keep: NDArray[np.bool_], steady: _Steady, sums: Sums
    ) -> tuple[Floats, Floats]:
        """Covariance with each change, and the squares it explains [cycles, templates, phi, series]."""
        q, n_steps = 1 - self.phi, int(np.count_nonzero(keep & ~_IS_RAMP))
        begin = n[:, None] - AGES[keep]
        plain, tilted = sums.plain[sums.row[n], None], sums.tilted[sums.row[n], None]
        explained = np.empty((*begin.shape, *plain.shape[2:]))
        np.subtract(q * plain, sums.steps[sums.row[begin[:, :n_steps]]], out=explained[:, :n_steps])
        if n_steps < begin.shape[1]:
            late = begin[:, n_steps:]
            along = q * tilted + (self.phi - q * late[..., None, None]) * plain
            np.subtract(along, sums.ramps[sums.row[late]], out=explained[:, n_steps:])
        gg, gc = (table[keep] for table in self._templates)
        along = gc / steady.scc[:, None]
        explained -= along * steady.sce[:, None]
        squares: Floats = explained * explained
        squares *= 1 / (gg - gc * along)
        return explained, squares

    def _score(self, ratio: Floats, plain: Floats) -> tuple[Floats, Floats]:
        """Log of the mean likelihood ratio, less a toll on much autocorrelation; and the latter's mean."""
        changed = plain * ratio
        total = changed.sum(1)
        phi = (changed * self.phi).sum(1) / total
        return np.log(total / plain.sum(1)) - PHI_TOLL * (phi - 0.3), phi

    def copy(self) -> ChangeEvidence:
        """An independent twin."""
        twin = copy.copy(self)
        twin._surprises = self._surprises.copy()
        return twin


def _averaged(share: Floats, ratios: Floats) -> Floats:
    """Mean over the templates with given weights [cycles, phi, series]."""
    cycles, templates, *shape = ratios.shape
    mean: Floats = share @ ratios.reshape(cycles, templates, -1)
    return mean.reshape(cycles, *shape)


def _template_sums(phi: Floats) -> tuple[Floats, Floats]:
    """Squares of each change after whitening, and its product with the whitened constant."""
    q, a = 1 - phi[None], AGES[:, None, None].astype(float)
    ones, squares = a * (a + 1) / 2, a * (a + 1) * (2 * a + 1) / 6
    ramp = _IS_RAMP[:, None, None]
    gg = np.where(ramp, q * q * squares + 2 * q * phi * ones + a * phi**2, 1 + (a - 1) * q * q)
    gc = np.where(ramp, q * (q * ones + a * phi), q * (1 + (a - 1) * q))
    return gg, gc
