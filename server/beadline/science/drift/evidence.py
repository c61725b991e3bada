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

Floats = NDArray[np.float64]

PHI_GRID: Floats = np.array([0.0, 0.15, 0.3, 0.45, 0.6])
PHI_SPREAD = 0.15
_MILLI = 1000.0
_LARGEST_LOG = 600.0
_LARGEST_PART = 0.999998

_STEP_AGES = (1, 2, 3, 4, 5, 6, 8, 11, 15, 21, 30, 42, 60, 90, 150)
_RAMP_AGES = (24, 34, 48, 68, 96, 140, 200, 300)
AGES: NDArray[np.int64] = np.array(_STEP_AGES + _RAMP_AGES)
_IS_RAMP: NDArray[np.bool_] = np.arange(len(AGES)) >= len(_STEP_AGES)
# Looks at so many cycles at a time: what they share stays in the processor's cache.
_BLOCK = 6
_FEWEST = 4
_GROWING = ("_y", "_sums", "_tilts", "_squares", "_steps", "_ramps")

WEIGHTS: Floats = np.sqrt(AGES)
TEMPER = 0.65
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
    capacity : int
        Number of cycles to make room for; grows by itself.

    Notes
    -----
    Values are standardised by the baseline. They enter as thousandths, so that all sums are whole numbers and
    are the same in whatever order they are formed. A cycle moves the sums by no more than 3.5 standard
    deviations of what was predicted, so that an odd cycle counts as one odd cycle.

    Examples
    --------
    >>> steady, shifted = [0.4, -1.0, 0.7, -0.3] * 5, [3.0, 3.4, 2.8]
    >>> watch = ChangeEvidence(1, phi=0.0, phi_spread=0.0)
    >>> for value in steady + shifted:
    ...     watch.push(np.array([value]))
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
        capacity: int = 64,
    ) -> None:
        known = phi_spread <= 0
        self.phi = (np.array([phi]) if known else PHI_GRID)[:, None]
        self._log_prior = np.zeros_like(self.phi) if known else -0.5 * ((self.phi - phi) / phi_spread) ** 2
        self._log_prior = self._log_prior + 0.5 * np.log(1 - self.phi**2)
        self._innovation_sd = np.sqrt(1 - self.phi**2)
        self._limit = onsets.CAP_SD * self._innovation_sd * _MILLI
        self._worth = np.zeros(n_series) if known_sd_worth is None else known_sd_worth
        self._known_squares = self._worth * (self._innovation_sd * _MILLI) ** 2
        self.n = 0
        shape = (len(self.phi), n_series)
        self._level = np.zeros(shape)
        self._y = np.zeros((capacity, n_series))
        # Before each cycle: sums of e, of t e, of e e, and what they are to a step and a ramp from there on.
        self._sums, self._tilts, self._squares, self._steps, self._ramps = np.zeros((5, capacity + 1, *shape))
        self._templates = _template_sums(self.phi)

    def push(self, y: Floats) -> None:
        """Add one cycle; a value that is not a number counts as exactly what was expected."""
        self.extend(y[None])

    def extend(self, rows: Floats) -> None:
        """Add cycles one after another [cycles, series]."""
        first, self.n = self.n, self.n + len(rows)
        while self.n > len(self._y):
            self._grow()
        e = self._surprises(first, rows)
        now, after = slice(first, self.n), slice(first + 1, self.n + 1)
        number, q = np.arange(first, self.n + 1.0)[:, None, None], 1 - self.phi
        for sums, terms in ((self._sums, e), (self._tilts, number[1:] * e), (self._squares, e * e)):
            np.cumsum(terms, axis=0, out=sums[after])
            sums[after] += sums[first]
        np.multiply(q, self._sums[now], out=self._steps[now])
        self._steps[now] -= self.phi * e
        np.multiply(q, self._tilts[now], out=self._ramps[now])
        self._ramps[now] += (self.phi - q * number[:-1]) * self._sums[now]

    def _surprises(self, first: int, rows: Floats) -> Floats:
        """How far cycles lie from what was predicted, in whole thousandths; keeps values and level."""
        e, level = np.empty((len(rows), *self._level.shape)), self._level
        ahead, surprise = np.empty_like(level), np.empty_like(level)
        low, high = -self._limit, self._limit
        missing: NDArray[np.bool_] = np.isnan(rows)
        some_missing: list[int] = np.count_nonzero(missing, axis=1).tolist()
        self._y[first : self.n] = rows
        for i, values in enumerate(rows * _MILLI):
            np.multiply(self.phi, level, out=ahead)
            np.subtract(values, ahead, out=surprise)
            if some_missing[i]:
                surprise[:, missing[i]] = 0.0
                self._y[first + i, missing[i]] = ahead[0, missing[i]] / _MILLI
            if first + i == 0:
                surprise *= self._innovation_sd
            np.minimum(np.maximum(surprise, low, out=surprise), high, out=surprise)
            np.rint(surprise, out=e[i])
            np.add(ahead, e[i] if first + i else e[i] / self._innovation_sd, out=level)
        return e

    def looks(self, count: int = 1) -> Scores:
        """Score every series at each of the newest cycles, for a change that began at any time up to it."""
        first = self.n - count + 1
        edges = {*range(first, self.n + 1, _BLOCK), *(AGES + 2).tolist(), _FEWEST, self.n + 1}
        inside = sorted(n for n in edges if first <= n <= self.n + 1)
        parts = [self._scores(np.arange(low, high)) for low, high in itertools.pairwise(inside)]
        up, down, phi = (np.concatenate([getattr(p, name) for p in parts]) for name in ("up", "down", "phi"))
        return Scores(up, down, phi)

    def _scores(self, n: NDArray[np.int64]) -> Scores:
        """Score cycles that reach back to the same ages, the first `n` cycles known at each."""
        steady = self._steady(n)
        plain = np.exp(steady.log_like - steady.log_like.max(1, keepdims=True))
        if n[0] < _FEWEST:
            nothing = np.zeros((len(n), len(self._worth)))
            return Scores(nothing, nothing, (plain * self.phi).sum(1) / plain.sum(1))
        keep = n[0] - 2 >= AGES
        explained, part = self._explained(n, keep, steady)
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

    def onset(self, series: int, sign: float, *, n: int) -> onsets.Onset:
        """Most likely beginning of a change among the first `n` cycles, with an interval of about 80 %."""
        index = int(self._steady(np.array([n])).log_like[0, :, series].argmax())
        y = onsets.without_odd_values(self._y[:n, series])
        return onsets.dated(y, phi=float(self.phi[index, 0]), sign=sign)

    def _steady(self, n: NDArray[np.int64]) -> _Steady:
        """What a constant mean leaves of the first `n` cycles."""
        cycles, q = n[:, None, None], 1 - self.phi
        first = self._sums[1]
        scc = (1 - self.phi**2) + (cycles - 1) * q * q
        sce = q * (self._sums[n] - first) + self._innovation_sd * first
        floor = 0.04 * cycles * self._innovation_sd**2 * _MILLI**2
        rest = np.maximum(self._squares[n] - sce**2 / scc, floor) + self._known_squares
        log_like = self._log_prior - 0.5 * (cycles - 1 + self._worth) * np.log(rest) - 0.5 * np.log(scc)
        return _Steady(scc, sce, rest, log_like)

    def _explained(
        self, n: NDArray[np.int64], keep: NDArray[np.bool_], steady: _Steady
    ) -> tuple[Floats, Floats]:
        """Covariance with each change, and the squares it explains [cycles, templates, phi, series]."""
        q, n_steps = 1 - self.phi, int(np.count_nonzero(keep & ~_IS_RAMP))
        begin = n[:, None] - AGES[keep]
        sums, tilts = self._sums[n][:, None], self._tilts[n][:, None]
        explained = np.empty((*begin.shape, *self._level.shape))
        np.subtract(q * sums, self._steps[begin[:, :n_steps]], out=explained[:, :n_steps])
        if n_steps < begin.shape[1]:
            late = begin[:, n_steps:]
            along = q * tilts + (self.phi - q * late[..., None, None]) * sums
            np.subtract(along, self._ramps[late], out=explained[:, n_steps:])
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
        for name in (*_GROWING, "_level"):
            setattr(twin, name, getattr(self, name).copy())
        return twin

    def _grow(self) -> None:
        """Make room for twice as many cycles."""
        more = len(self._y)
        for name in _GROWING:
            old = getattr(self, name)
            setattr(self, name, np.concatenate([old, np.zeros((more, *old.shape[1:]))]))


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
