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
    columns : ndarray [n, p]
        Derivatives of the fraction by every number of the front at a given height of the step.
    root : ndarray [p, p]
        Changes of these numbers along independent directions of unit variance.
    height_spread : ndarray [p]
        Relative change of the height along the same directions.
    """

    volume_cv: Array
    fraction: Array
    density: Array
    columns: Array
    root: Array
    height_spread: Array

    def spread(self, first: int, last: int) -> Array:
        """Change of the fraction along the directions, from one grid point up to another."""
        rows = slice(first, last)
        return self.columns[rows] @ self.root - np.outer(self.fraction[rows], self.height_spread)

    def sum_spread(self, weight: Array) -> Array:
        """Change of a weighted sum of the fraction along the directions."""
        return (weight @ self.columns) @ self.root - (weight @ self.fraction) * self.height_spread

    def density_spread(self, first: int, last: int) -> Array:
        """Change of the derivative along the same directions, from one grid point up to another."""
        low, high = max(first - 1, 0), min(last + 1, self.volume_cv.size)
        slopes = np.gradient(self.spread(low, high), self.volume_cv[low:high], axis=0)
        return np.asarray(slopes[first - low : last - low])


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """Moments 0 to 4 about `about_cv` with their spread [5], [5, p]."""

    about_cv: float
    raw: Array
    spread: Array


def curve_on(posterior: Posterior, volume_cv: Array) -> Curve:
    """The settled front on a rising grid."""
    front, inside = posterior.front, posterior.splines.within(volume_cv)
    columns = np.zeros((volume_cv.size, posterior.shift.size - 2))
    p = columns.shape[1] - posterior.splines.count
    columns[:, :p] = front.tangents(volume_cv).T
    columns[inside, p:] = posterior.splines.design(volume_cv[inside])
    height, height_spread = step_height(posterior)
    n = front.heights.size
    numbers = posterior.shift[2:].copy()
    numbers[:n] += front.heights
    columns /= height
    fraction = columns @ numbers
    slope = slopes(volume_cv, fraction)
    return Curve(volume_cv, fraction, slope, columns, posterior.spread[2:], height_spread / height)


def slopes(volume_cv: Array, values: Array) -> Array:
    """Derivative, at its knots, of the cubic spline through points; not-a-knot at the ends.

    The same as SciPy's CubicSpline, without building the spline itself.

    References
    ----------
    de Boor, A Practical Guide to Splines, chapter IV (from memory); compared with SciPy in the tests.

    Examples
    --------
    >>> import numpy as np
    >>> v = np.array([0.0, 1.0, 3.0, 4.0, 6.0])
    >>> slopes(v, v**3).round(9).tolist()
    [0.0, 3.0, 27.0, 48.0, 108.0]
    """
    if values.size < 4:
        return np.asarray(np.gradient(values, volume_cv, edge_order=1 if values.size == 2 else 2))
    width = np.diff(volume_cv)
    rise = np.diff(values) / width
    below, middle, above, right = width.copy(), np.empty_like(values), width.copy(), np.empty_like(values)
    below[:-1], middle[1:-1], above[1:] = width[1:], 2 * (width[:-1] + width[1:]), width[:-1]
    right[1:-1] = 3 * (width[1:] * rise[:-1] + width[:-1] * rise[1:])
    for end, beside, w, r in ((0, above, width, rise), (-1, below, width[::-1], rise[::-1])):
        both = w[0] + w[1]
        middle[end], beside[end] = w[1], both
        right[end] = ((w[0] + 2 * both) * w[1] * r[0] + w[0] ** 2 * r[1]) / both
    return np.asarray(scipy.linalg.lapack.dgtsv(below, middle, above, right)[3])


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
