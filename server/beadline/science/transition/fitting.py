"""Both plateaus and a flexible front, fitted together."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import optimize

from beadline.science.transition import shapes
from beadline.science.transition.result import Array

SLOPE_EXPECTED = 0.03  # plateaus usually drift by less than this fraction of the step a CV
_MOST_ROUNDS = 40


@dataclass(frozen=True, slots=True, eq=False)
class Front:
    """Plateau line and the parts of a front, in fractions of the outlined step.

    Attributes
    ----------
    level, slope_per_cv : float
        The common line under both plateaus, at and around `about_cv`.
    heights : ndarray [1 to 3]
        Heights of core, late part, early part (those that are there).
    core, late, early : tuple of float
        Parameters of the parts; empty for a part that isn't there. The late part has the core's
        mean and width and a tail of its own.
    about_cv : float
        Volume about which slope and moments are taken.
    """

    level: float
    slope_per_cv: float
    heights: Array
    core: tuple[float, ...]
    late: tuple[float, ...] = ()
    early: tuple[float, ...] = ()
    about_cv: float = 0.0

    @property
    def height(self) -> float:
        """Height of the whole step."""
        return float(np.sum(self.heights))

    @property
    def sd_cv(self) -> float:
        """Standard deviation of the core [CV]."""
        return float(np.exp(self.core[1]))

    def parts(self, volume_cv: Array) -> list[shapes.Shape]:
        """The parts that are there, at the points asked for."""
        found = [shapes.core(volume_cv, *self.core)]
        if self.late:
            found.append(shapes.late(volume_cv, *self.core[:2], *self.late))
        if self.early:
            found.append(shapes.early(volume_cv, *self.early))
        return found

    def rise(self, volume_cv: Array) -> Array:
        """The front without its plateaus, at the points asked for."""
        heights = zip(self.heights, self.parts(volume_cv), strict=True)
        return np.asarray(sum(height * part.cumulative for height, part in heights))

    def columns(self, volume_cv: Array) -> Array:
        """Derivatives of the front without its plateaus: by height, then by each part's parameters."""
        parts = self.parts(volume_cv)
        tangents = [h * part.tangents for h, part in zip(self.heights, parts, strict=True)]
        if self.late:  # the late part shares mean and width with the core
            tangents[0][:, :2] += tangents[1][:, :2]
            tangents[1] = tangents[1][:, 2:]
        return np.column_stack([*(part.cumulative for part in parts), *tangents])

    def moments(self) -> Array:
        """Moments 0 to 4 about `about_cv` of each part, not weighted by its height [parts, 5]."""
        rows = [shapes.core_moments(*self.core, about=self.about_cv)]
        if self.late:
            rows.append(shapes.late_moments(*self.core[:2], *self.late, about=self.about_cv))
        if self.early:
            rows.append(shapes.early_moments(*self.early, about=self.about_cv))
        return np.array(rows)

    def vector(self) -> Array:
        """All free numbers in a row, as the fit sees them."""
        return np.array([self.level, self.slope_per_cv, *self.heights, *self.core, *self.late, *self.early])

    def at(self, vector: Array) -> Front:
        """The same kind of front with other numbers."""
        k, c = 2 + self.heights.size, 5 + self.heights.size
        after_late = c + len(self.late)
        return replace(
            self,
            level=float(vector[0]),
            slope_per_cv=float(vector[1]),
            heights=vector[2:k],
            core=tuple(vector[k:c].tolist()),
            late=tuple(vector[c:after_late].tolist()),
            early=tuple(vector[after_late:].tolist()),
        )

    def plain(self) -> bool:
        """Whether every part has a sensible weight and width."""
        share = self.heights / self.height if self.height > 0 else np.zeros(1)
        widths = [self.core[1], *self.late, *self.early[1:]]
        return bool(
            np.all(np.isfinite(self.vector()))
            and share[0] > 0.35
            and np.all(share > 0.001)
            and max(widths) < 1.5
            and min(widths) > -9
        )


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


def fit_front(volume_cv: Array, fraction: Array, start: Front, *, noise: float, weights: Array) -> Fit:
    """Fit one kind of front by damped least squares.

    Parameters
    ----------
    volume_cv, fraction : ndarray
        Cleaned record; `fraction` rises from about 0 to about 1.
    start : Front
        Kind of front and starting values.
    noise : float
        Standard deviation of one point, which weighs the data against what is expected of the
        slope and of the parts' widths.
    weights : ndarray
        Square roots of the points' weights.
    """
    guess = start.vector()
    spread = _expected_spread(start)
    scale = noise / spread
    line = volume_cv - start.about_cv

    def bounded(vector: Array) -> Front:
        return start.at(np.clip(vector, guess - 12 * spread, guess + 12 * spread))

    def misfit(vector: Array) -> Array:
        front = bounded(vector)
        model = front.level + front.slope_per_cv * line + front.rise(volume_cv)
        return np.concatenate((weights * (model - fraction), scale * (vector - _centre(guess))))

    def tangents(vector: Array) -> Array:
        columns = np.column_stack((np.ones_like(line), line, bounded(vector).columns(volume_cv)))
        return np.vstack((weights[:, None] * columns, np.diag(scale)))

    found = optimize.leastsq(
        misfit, guess, Dfun=tangents, ftol=1e-8, xtol=1e-7, maxfev=_MOST_ROUNDS, full_output=True
    )
    front = bounded(found[0])
    return Fit(front, -np.asarray(found[2]["fvec"])[: line.size] / np.maximum(weights, 1e-6))


def _centre(guess: Array) -> Array:
    centre = guess.copy()
    centre[1] = 0.0
    return centre


def _expected_spread(front: Front) -> Array:
    sd = front.sd_cv
    heights = [1.0] + [0.3] * (front.heights.size - 1)
    late = [0.7] if front.late else []
    early_part = [4 * sd, 0.5] if front.early else []
    return np.array([1.0, SLOPE_EXPECTED, *heights, 6 * sd, 1.5, 2.0, *late, *early_part])
