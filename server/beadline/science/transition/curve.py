"""The settled front as a curve with its uncertainty, ready to be read."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from beadline.science.transition.front import Front
from beadline.science.transition.remainder import Posterior
from beadline.science.transition.result import Array

_STEP = 1e-5


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Normalised breakthrough curve on a grid.

    Attributes
    ----------
    volume_cv, fraction, density : ndarray [n]
        Grid [CV], the curve from 0 to 1, its derivative [1/CV].
    fraction_spread : ndarray [n, p]
        Its change along p independent directions of unit variance.
    """

    volume_cv: Array
    fraction: Array
    density: Array
    fraction_spread: Array

    def density_spread(self, first: int, last: int) -> Array:
        """Change of the derivative along the same directions, from one grid point up to another."""
        low, high = max(first - 1, 0), min(last + 1, self.volume_cv.size)
        slopes = np.gradient(self.fraction_spread[low:high], self.volume_cv[low:high], axis=0)
        return np.asarray(slopes[first - low : last - low])


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """Moments 0 to 4 about `about_cv` with their spread [5], [5, p]."""

    about_cv: float
    raw: Array
    spread: Array


def drawn(posterior: Posterior, volume_cv: Array) -> tuple[Array, Array]:
    """Normalised curve and its spread at the points asked for."""
    front = posterior.front
    columns = np.column_stack((front.columns(volume_cv), posterior.splines.design(volume_cv)))
    n = front.heights.size
    plain = columns[:, :n] @ front.heights
    height, height_spread = step_height(posterior)
    fraction = (plain + columns @ posterior.shift[2:]) / height
    spread = (columns @ posterior.spread[2:] - np.outer(fraction, height_spread)) / height
    return fraction, spread


def curve_on(posterior: Posterior, volume_cv: Array) -> Curve:
    """The settled front on a rising grid."""
    fraction, spread = drawn(posterior, volume_cv)
    density = scipy.interpolate.CubicSpline(volume_cv, fraction)(volume_cv, 1)
    return Curve(volume_cv, fraction, density, spread)


def step_height(posterior: Posterior) -> tuple[float, Array]:
    """Height of the step, in outlined steps, and its spread."""
    n = posterior.front.heights.size
    height = posterior.front.height + float(np.sum(posterior.shift[2 : 2 + n]))
    return height, np.sum(posterior.spread[2 : 2 + n], axis=0)


def fine_grid(front: Front, start_cv: float, end_cv: float) -> Array:
    """Volumes dense enough for crossings and apex: a thirtieth of the core's width."""
    sd = front.sd_cv
    centre = front.core[0]
    low, high = max(start_cv, centre - 5 * sd), min(end_cv, centre + 7 * sd)
    low, high = (low, high) if low < high else (start_cv, end_cv)
    core = np.linspace(low, high, 361)
    far = max(sd / 2, (end_cv - start_cv) / 400)
    ahead = np.linspace(start_cv, low, max(int((low - start_cv) / far), 2), endpoint=False)
    behind = np.linspace(high, end_cv, max(int((end_cv - high) / far), 2) + 1)[1:]
    return np.unique(np.concatenate((ahead if low > start_cv else [], core, behind if high < end_cv else [])))


def moments_of(posterior: Posterior) -> Moments:
    """Exact moments of the settled front over the whole axis, tail beyond the record included."""
    front = posterior.front
    parts = front.moments()
    table = np.vstack((parts, _moment_tangents(front), posterior.splines.moments(front.about_cv)))
    height, height_spread = step_height(posterior)
    raw = (front.heights @ parts + posterior.shift[2:] @ table) / height
    spread = (table.T @ posterior.spread[2:] - np.outer(raw, height_spread)) / height
    return Moments(front.about_cv, raw, spread)


def _moment_tangents(front: Front) -> Array:
    vector = front.vector()
    rows = []
    for k in range(2 + front.heights.size, vector.size):
        up, down = vector.copy(), vector.copy()
        up[k] += _STEP
        down[k] -= _STEP
        rows.append(front.heights @ (front.at(up).moments() - front.at(down).moments()) / (2 * _STEP))
    return np.array(rows)
