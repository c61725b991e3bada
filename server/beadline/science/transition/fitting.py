"""Both plateaus and a flexible front, fitted together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from beadline.science.transition.front import Front
from beadline.science.transition.result import Array

SLOPE_EXPECTED = 0.03  # plateaus usually drift by less than this fraction of the step a CV
_MOST_ROUNDS = 20
_CLOSE = 1e-4  # relative change at which the fit stops; settling the front does the rest
_NEAR_SD, _FINE_SD, _COARSE_SD = 6.0, 1 / 12, 1 / 2


@dataclass(frozen=True, slots=True, eq=False)
class Points:
    """A record as fractions of the outlined step.

    Attributes
    ----------
    volume_cv, fraction : ndarray
        Volume [CV]; signal, rising from about 0 to about 1.
    weights : ndarray
        Square roots of the points' weights.
    """

    volume_cv: Array
    fraction: Array
    weights: Array

    def pooled(self, centre_cv: float, sd_cv: float) -> Points:
        """Neighbours averaged where the front can't tell them apart.

        Within 6 widths of the centre a group spans at most a twelfth of the width, elsewhere a half;
        what that changes is less than a thousandth of the variance and is put right when the front
        is settled on all points.
        """
        near = np.abs(self.volume_cv - centre_cv) < _NEAR_SD * sd_cv
        fine = np.floor((self.volume_cv - centre_cv) / (_FINE_SD * sd_cv))
        coarse = np.floor((self.volume_cv - centre_cv) / (_COARSE_SD * sd_cv))
        code = np.where(near, fine, coarse)
        group = np.concatenate(([0], np.cumsum((np.diff(code) != 0) | (np.diff(near.astype(int)) != 0))))
        if group[-1] > 0.7 * group.size:
            return self
        weight = self.weights**2
        total = np.bincount(group, weight)
        volume = np.bincount(group, weight * self.volume_cv) / total
        return Points(volume, np.bincount(group, weight * self.fraction) / total, np.sqrt(total))


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A fitted front with what it left over.

    Attributes
    ----------
    front : Front
        The fitted front.
    left : ndarray
        Data minus fit, in fractions of the outlined step.
    """

    front: Front
    left: Array

    @property
    def squares(self) -> float:
        """Sum of what was left over, squared."""
        return float(self.left @ self.left)


def fit_front(points: Points, start: Front, *, noise: float) -> Front:
    """Fit one kind of front by damped least squares.

    Parameters
    ----------
    points : Points
        What to fit.
    start : Front
        Kind of front and starting values.
    noise : float
        Standard deviation of one point, which weighs the data against what is expected of the
        slope and of the parts' widths.
    """
    problem = _Problem(points, start, noise)
    found = scipy.optimize.leastsq(
        problem.misfit,
        problem.guess,
        Dfun=problem.tangents,
        col_deriv=True,
        ftol=_CLOSE,
        xtol=_CLOSE,
        maxfev=_MOST_ROUNDS,
        full_output=True,
    )
    return problem.bounded(found[0])


class _Problem:
    """What the least-squares routine asks for; a front asked for twice is computed once."""

    def __init__(self, points: Points, start: Front, noise: float) -> None:
        self.points, self.start = points, start
        self.guess = start.vector()
        self.spread = _expected_spread(start)
        self.low, self.high = self.guess - 12 * self.spread, self.guess + 12 * self.spread
        self.scale = noise / self.spread
        self.centre = self.guess.copy()
        self.centre[1] = 0.0
        self.line = points.volume_cv - start.about_cv
        self.last = (np.full_like(self.guess, np.nan), start, np.zeros(0), np.zeros((0, 0)))

    def bounded(self, vector: Array) -> Front:
        """The front of these numbers, kept within reach of the start."""
        return self.start.at(np.minimum(np.maximum(vector, self.low), self.high))

    def misfit(self, vector: Array) -> Array:
        front, rise, _ = self._computed(vector)
        model = front.level + front.slope_per_cv * self.line + rise
        away = self.points.weights * (model - self.points.fraction)
        return np.concatenate((away, self.scale * (vector - self.centre)))

    def tangents(self, vector: Array) -> Array:
        _, _, tangents = self._computed(vector)
        n, weights = self.line.size, self.points.weights
        table = np.zeros((vector.size, n + vector.size))
        table[0, :n], table[1, :n] = weights, self.line * weights
        np.multiply(tangents, weights, out=table[2:, :n])
        np.fill_diagonal(table[:, n:], self.scale)
        return table

    def _computed(self, vector: Array) -> tuple[Front, Array, Array]:
        if not (vector == self.last[0]).all():
            front = self.bounded(vector)
            self.last = (vector.copy(), front, *front.rise_and_tangents(self.points.volume_cv))
        return self.last[1:]


def _expected_spread(front: Front) -> Array:
    sd = front.sd_cv
    heights = [1.0] + [0.3] * (front.heights.size - 1)
    late = [0.7] if front.late else []
    early_part = [4 * sd, 0.5] if front.early else []
    return np.array([1.0, SLOPE_EXPECTED, *heights, 6 * sd, 1.5, 2.0, *late, *early_part])
