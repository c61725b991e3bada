"""Direct readings on a peak: apex, crossings of a height, tangents at the inflections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.pulse import local

Array = NDArray[np.float64]

REACH = 0.6  # of the half width at half height on that side: 0.7 standard deviations of a Gaussian


@dataclass(frozen=True, slots=True, eq=False)
class Point:
    """A place on the trace, with the weight of every sample in each coordinate.

    Attributes
    ----------
    volume_m3, signal : float
        Where it is; the signal counts from the baseline.
    volume_row, signal_row : ndarray [n]
        Change of the coordinates per unit change of each sample.
    scatter : float
        Scatter of the samples around it [signal].
    """

    volume_m3: float
    signal: float
    volume_row: Array
    signal_row: Array
    scatter: float


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """A peak in rough: where its apex lies and how far half height is on either side [m3]."""

    apex_m3: float
    height: float
    front_m3: float
    back_m3: float


def apex(volume_m3: Array, signal: Array, rough: Outline) -> Point:
    """Find the apex by a local fit, not by the highest sample."""
    reach = REACH * min(rough.front_m3, rough.back_m3)
    centre = rough.apex_m3
    for _ in range(3):
        near = local.fit(volume_m3, signal, centre_m3=centre, reach_m3=reach)
        grid = np.linspace(centre - 0.9 * near.reach_m3, centre + 0.9 * near.reach_m3, 91)
        centre = float(grid[np.argmax(near.along(grid))])
    place = _root(near, centre, order=1, level=0.0)
    curvature = near.at(place, 2)
    size = signal.size
    row = -near.influence(place, 1, size) / curvature if curvature else np.zeros(size)
    return Point(place, near.at(place), row, near.influence(place, 0, size), near.scatter)


def crossing(
    volume_m3: Array, signal: Array, smooth: Array, top: Point, *, share: float, back: bool, reach_m3: float
) -> Point | None:
    """Find where the trace first falls below a share of the height, going outwards from the apex.

    Returns
    -------
    Point or None
        None when the record ends above that height.
    """
    level = share * top.signal
    start = int(np.searchsorted(volume_m3, top.volume_m3))
    path = np.arange(start, smooth.size) if back else np.arange(min(start, smooth.size) - 1, -1, -1)
    below = np.flatnonzero(smooth[path] < level)
    if not below.size or below[0] + 2 >= path.size:
        return None
    inner, outer = path[max(below[0] - 1, 0)], path[below[0]]
    drop = smooth[inner] - smooth[outer]
    part = (smooth[inner] - level) / drop if drop > 0 else 0.5
    guess = float(volume_m3[inner] + np.clip(part, 0, 1) * (volume_m3[outer] - volume_m3[inner]))
    near = local.fit(volume_m3, signal, centre_m3=guess, reach_m3=reach_m3)
    near = local.fit(volume_m3, signal, centre_m3=_root(near, guess, order=0, level=level), reach_m3=reach_m3)
    place = _root(near, near.centre_m3, order=0, level=level)
    slope = near.at(place, 1)
    if slope == 0 or (slope < 0) != back or (place > top.volume_m3) != back:
        return None
    row = (share * top.signal_row - near.influence(place, 0, signal.size)) / slope
    return Point(place, level, row, share * top.signal_row, near.scatter)


@dataclass(frozen=True, slots=True, eq=False)
class Tangent:
    """The tangent at an inflection and where it cuts the baseline.

    Attributes
    ----------
    inflection : Point
        Where the trace is steepest.
    slope : float
        Its slope [signal/m3].
    foot : Point
        Where the tangent meets the baseline.
    """

    inflection: Point
    slope: float
    foot: Point


def tangent(volume_m3: Array, signal: Array, half: Point, top: Point, *, reach_m3: float) -> Tangent | None:
    """Lay the tangent at the steepest place between half height and apex."""
    middle = half.volume_m3 + 0.15 * (top.volume_m3 - half.volume_m3)
    rising = top.volume_m3 > half.volume_m3
    for _ in range(5):
        near = local.fit(volume_m3, signal, centre_m3=middle, reach_m3=1.25 * reach_m3)
        grid = np.linspace(middle - 0.7 * near.reach_m3, middle + 0.7 * near.reach_m3, 71)
        slopes = near.along(grid, 1)
        middle = float(grid[np.argmax(slopes if rising else -slopes)])
    place = _root(near, middle, order=2, level=0.0)
    slope, height = near.at(place, 1), near.at(place)
    if slope == 0 or (slope > 0) != rising:
        return None
    value_row, slope_row = near.influence(place, 0, signal.size), near.influence(place, 1, signal.size)
    foot = place - height / slope
    # at an inflection the foot doesn't move, to first order, with the place of the tangent
    row = -value_row / slope + height / slope * slope_row / slope
    still = np.zeros(signal.size)
    return Tangent(
        Point(place, height, still, value_row, near.scatter),
        slope,
        Point(foot, 0.0, row, still, near.scatter),
    )


def _root(near: local.LocalFit, start: float, *, order: int, level: float) -> float:
    """Newton's method on the local polynomial, kept inside its window; `start` when it leads out."""
    place = start
    for _ in range(20):
        slope = near.at(place, order + 1)
        if slope == 0:
            return start
        step = (near.at(place, order) - level) / slope
        place -= step
        if abs(place - near.centre_m3) > near.reach_m3:
            return start
        if abs(step) < 1e-13 * near.reach_m3:
            break
    return place
