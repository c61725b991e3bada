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
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import changes
from beadline.science.drift.changes import Kind

Floats = NDArray[np.float64]

PHI_GRID: Floats = np.array([0.0, 0.15, 0.3, 0.45, 0.6])
PHI_SPREAD = 0.15
CAP_SD = 3.5
_MILLI = 1000.0
_LARGEST_LOG = 600.0
_LARGEST_PART = 0.999998

_STEP_AGES = (1, 2, 3, 4, 5, 6, 8, 11, 15, 21, 30, 42, 60, 90, 150)
_RAMP_AGES = (24, 34, 48, 68, 96, 140, 200, 300)
AGES: NDArray[np.int64] = np.array(_STEP_AGES + _RAMP_AGES)
_IS_RAMP: NDArray[np.bool_] = np.arange(len(AGES)) >= len(_STEP_AGES)


WEIGHTS: Floats = np.sqrt(AGES)
TEMPER = 0.65
PHI_TOLL = 1.2


@dataclass(frozen=True)
class Scores:
    """What one look found, a number a series.

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
class Onset:
    """Where a series seems to have changed: usable cycles counted from 0, and how much in its own spread."""

    first: int
    low: int
    high: int
    kind: Kind
    size: float


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
    >>> bool(watch.look().up[0] > 3.5)
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
        self._limit = CAP_SD * self._innovation_sd
        self._worth = np.zeros(n_series) if known_sd_worth is None else known_sd_worth
        self._known_squares = self._worth * (self._innovation_sd * _MILLI) ** 2
        self.n = 0
        shape = (len(self.phi), n_series)
        self._level = np.zeros(shape)
        self._squares = np.zeros(shape)
        self._first = np.zeros(shape)
        self._y = np.zeros((capacity, n_series))
        # Sums of e and of t e before each cycle, and that cycle's e: gathered in one go.
        self._past = np.zeros((capacity + 1, 3, *shape))
        self._templates = _template_sums(self.phi)

    def push(self, y: Floats) -> None:
        """Add one cycle; a value that is not a number counts as exactly what was expected."""
        self.extend(y[None])

    def extend(self, rows: Floats) -> None:
        """Add cycles one after another [cycles, series]."""
        first, self.n = self.n, self.n + len(rows)
        while self.n > len(self._y):
            self._grow()
        e = np.array([self._surprise(first + i, row) for i, row in enumerate(rows)])
        if first == 0:
            self._first = e[0]
        number = np.arange(first + 1, self.n + 1.0)[:, None, None]
        self._past[first : self.n, 2] = e
        self._past[first + 1 : self.n + 1, 0] = self._past[first, 0] + e.cumsum(0)
        self._past[first + 1 : self.n + 1, 1] = self._past[first, 1] + (number * e).cumsum(0)
        self._squares = self._squares + (e * e).sum(0)

    def _surprise(self, index: int, y: Floats) -> Floats:
        """How far a cycle lies from what was predicted, in whole thousandths; keeps value and level."""
        ahead = self.phi * self._level
        gain = 1.0 if index else self._innovation_sd
        missing = np.isnan(y)
        if missing.any():
            self._y[index] = np.where(missing, ahead[0], y)
            surprise = np.where(missing, 0.0, (y - ahead) * gain)
        else:
            self._y[index] = y
            surprise = (y - ahead) * gain
        e: Floats = np.rint(np.minimum(np.maximum(surprise, -self._limit), self._limit) * _MILLI)
        self._level = ahead + e / (_MILLI * gain)
        return e

    def look(self) -> Scores:
        """Score every series for a change that began at any time up to the newest cycle."""
        rest, log_like = self._without_change()
        plain = np.exp(log_like - log_like.max(0))
        if self.n < 4:
            nothing = np.zeros(rest.shape[1])
            return Scores(nothing, nothing, (plain * self.phi).sum(0) / plain.sum(0))
        keep = self.n - 2 >= AGES
        explained, part = self._explained(keep)
        part /= rest
        np.minimum(part, _LARGEST_PART, out=part)
        ratios = np.log(np.subtract(1.0, part, out=part), out=part)
        ratios *= -0.5 * TEMPER * (self.n - 2 + self._worth)
        np.minimum(ratios, _LARGEST_LOG, out=ratios)
        np.exp(ratios, out=ratios)
        ratios -= 1.0
        upwards = ratios * (explained > 0)
        share = WEIGHTS[keep] / WEIGHTS[keep].sum()
        up, phi_up = self._score(1.0 + _averaged(share, upwards), plain)
        down, phi_down = self._score(1.0 + _averaged(share, ratios - upwards), plain)
        return Scores(up, down, np.where(up >= down, phi_up, phi_down))

    def onset(self, series: int, sign: float) -> Onset:
        """Most likely beginning of the change in one series, with an interval of about 80 %."""
        _, log_like = self._without_change()
        index = int(log_like[:, series].argmax())
        phi = float(self.phi[index, 0])
        y = without_odd_values(self._y[: self.n, series])
        return _profile(y, phi, sign)

    def _without_change(self) -> tuple[Floats, Floats]:
        """Squares left by a constant mean, and the log likelihood of each autocorrelation."""
        n, q = self.n, 1 - self.phi
        self._scc = (1 - self.phi**2) + (n - 1) * q * q
        self._sce = q * (self._past[n, 0] - self._first) + self._innovation_sd * self._first
        rest = self._squares - self._sce**2 / self._scc
        floor = 0.04 * n * self._innovation_sd**2 * _MILLI**2
        rest = np.maximum(rest, floor) + self._known_squares
        log_like = self._log_prior - 0.5 * (n - 1 + self._worth) * np.log(rest) - 0.5 * np.log(self._scc)
        return rest, log_like

    def _explained(self, keep: NDArray[np.bool_]) -> tuple[Floats, Floats]:
        """Covariance of the series with each change, and the squares it explains [templates, phi, series]."""
        n, q = self.n, 1 - self.phi
        before, n_steps = n - AGES[keep], int(np.count_nonzero(keep & ~_IS_RAMP))
        past = self._past[before]
        gained = self._past[n, 0] - past[:, 0]
        explained = q * gained
        explained[:n_steps] += self.phi * past[:n_steps, 2]
        if n_steps < len(before):
            start = before[n_steps:, None, None]
            tilted = self._past[n, 1] - past[n_steps:, 1] - start * gained[n_steps:]
            explained[n_steps:] = q * tilted + self.phi * gained[n_steps:]
        gg, gc = (table[keep] for table in self._templates)
        along = gc / self._scc
        explained -= along * self._sce
        squares: Floats = explained * explained
        squares *= 1 / (gg - gc * along)
        return explained, squares

    def _score(self, ratio: Floats, plain: Floats) -> tuple[Floats, Floats]:
        """Log of the mean likelihood ratio, less a toll on much autocorrelation; and the latter's mean."""
        changed = plain * ratio
        total = changed.sum(0)
        phi = (changed * self.phi).sum(0) / total
        return np.log(total / plain.sum(0)) - PHI_TOLL * (phi - 0.3), phi

    def copy(self) -> ChangeEvidence:
        """An independent twin."""
        twin = copy.copy(self)
        for name in ("_y", "_past"):
            setattr(twin, name, getattr(self, name).copy())
        return twin

    def _grow(self) -> None:
        """Make room for twice as many cycles."""
        more = len(self._y)
        for name in ("_y", "_past"):
            old = getattr(self, name)
            setattr(self, name, np.concatenate([old, np.zeros((more, *old.shape[1:]))]))


def without_odd_values(y: Floats) -> Floats:
    """Put the median of five neighbours in the place of single odd values.

    Examples
    --------
    >>> bool(without_odd_values(np.array([0.1, 0.0, 0.2, 9.0, 0.1, 0.2, 0.0]))[3] < 1.0)
    True
    """
    if len(y) < 5:
        return y
    padded = np.pad(y, 2, mode="reflect")
    local = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    spread = 1.3 * 1.4826 * float(np.median(np.abs(y - local)))
    return np.where(np.abs(y - local) > CAP_SD * spread, local, y)


def _averaged(share: Floats, ratios: Floats) -> Floats:
    """Mean over the first axis with given weights."""
    mean: Floats = (share @ ratios.reshape(len(share), -1)).reshape(ratios.shape[1:])
    return mean


def _template_sums(phi: Floats) -> tuple[Floats, Floats]:
    """Squares of each change after whitening, and its product with the whitened constant."""
    q, a = 1 - phi[None], AGES[:, None, None].astype(float)
    ones, squares = a * (a + 1) / 2, a * (a + 1) * (2 * a + 1) / 6
    ramp = _IS_RAMP[:, None, None]
    gg = np.where(ramp, q * q * squares + 2 * q * phi * ones + a * phi**2, 1 + (a - 1) * q * q)
    gc = np.where(ramp, q * (q * ones + a * phi), q * (1 + (a - 1) * q))
    return gg, gc


def _profile(y: Floats, phi: float, sign: float) -> Onset:
    """Likelihood of every beginning of a step and of a ramp."""
    n = len(y)
    age = n - np.arange(2, n)
    gains: dict[Kind, tuple[Floats, Floats]] = {}
    kinds: tuple[Kind, Kind] = ("step", "ramp")
    for kind in kinds:
        found = changes.regressed(np.arange(float(n)), y, phi=phi, kind=kind, lead=1.0)
        rest = max(found.whole, 0.04 * n * (1 - phi**2))
        size = found.size[2:]
        gain = np.where(size * sign > 0, size**2 * found.weight[2:] / rest, 0.0)
        gains[kind] = (
            -0.5 * (n - 2) * np.log1p(-np.clip(gain, 0, 0.999999)),
            size * np.where(kind == "ramp", age, 1),
        )
    top = max(float(gains[kind][0].max()) for kind in kinds)
    weights = {kind: np.exp(gains[kind][0] - top) for kind in kinds}
    kind = "ramp" if weights["ramp"].sum() > 1.5 * weights["step"].sum() else "step"
    both = weights["step"] + weights["ramp"]
    spread = np.cumsum(both) / both.sum()
    best = int(weights[kind].argmax())
    low, high = int(np.searchsorted(spread, 0.1)), int(np.searchsorted(spread, 0.9))
    return Onset(2 + best, 2 + min(low, best), 2 + max(high, best), kind, float(gains[kind][1][best]))
