"""How many parts a front needs: no more than the record can tell apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from beadline.science.transition import cleaning
from beadline.science.transition.fitting import Fit, Front, fit_front
from beadline.science.transition.outline import Outline
from beadline.science.transition.result import Array

_STRUCTURE = 1.1  # left-over variance, as a multiple of point noise, above which more parts are tried


def best_front(volume_cv: Array, fraction: Array, seen: Outline, *, noise: float, weights: Array) -> Fit:
    """Fit a core, and a late and an early part where they explain what a core leaves over.

    Parameters
    ----------
    volume_cv, fraction : ndarray
        Cleaned record as fractions of the outlined step.
    seen : Outline
        Where the step is.
    noise : float
        Standard deviation of one point, in fractions of the step.
    weights : ndarray
        Square roots of the points' weights.
    """

    def fitted(start: Front) -> Fit:
        return fit_front(volume_cv, fraction, start, noise=noise, weights=weights)

    best = fitted(_core_alone(seen))
    if not best.front.plain():
        best = Fit(_core_alone(seen), fraction - model(_core_alone(seen), volume_cv))
    point = max(cleaning.point_noise(best.left), 1e-9)
    if best.squares < _STRUCTURE * point**2 * volume_cv.size:
        return best
    for wider in (_with_late, _with_early):
        trial = fitted(wider(best.front, volume_cv, best.left, seen))
        if trial.front.plain() and _pays(trial, best, volume_cv.size):
            best = trial
    return best


def model(front: Front, volume_cv: Array) -> Array:
    """Plateau line and front together.

    Examples
    --------
    >>> import numpy as np
    >>> front = Front(0.0, 0.0, np.array([1.0]), (1.0, float(np.log(0.05)), 0.0))
    >>> round(float(model(front, np.array([1.0]))[0]), 4)
    0.5
    """
    return front.level + front.slope_per_cv * (volume_cv - front.about_cv) + front.rise(volume_cv)


def _pays(trial: Fit, best: Fit, points: int) -> bool:
    gain = points * np.log(max(best.squares, 1e-30) / max(trial.squares, 1e-30))
    more = trial.front.vector().size - best.front.vector().size
    return bool(gain > 2 * more * np.log(points))


def _core_alone(seen: Outline) -> Front:
    low, quarter, middle, three, high = seen.crossings_cv[1:6]
    spread = max(seen.spread_cv, 1e-4)
    lean = float(np.clip((high + low - 2 * middle) / max(high - low, 1e-6), -0.45, 0.45))
    sd = float(np.clip(0.5 * (high - low), spread, 3 * spread))
    mean = float(np.clip(middle + lean * sd, quarter - spread, three + spread))
    return Front(
        0.0, 0.0, np.array([1.0]), (mean, float(np.log(sd)), 3.0 * lean or 0.01), about_cv=seen.mid_cv
    )


def _steep(seen: Outline) -> float:
    return float(np.log(max(seen.spread_cv, 1e-4)))


def _with_late(front: Front, _volume_cv: Array, _left: Array, seen: Outline) -> Front:
    height = front.heights[0]
    sd = np.exp(_steep(seen))
    heights = np.array([0.9 * height, 0.1 * height, *front.heights[1:]])
    mean = min(front.core[0], seen.mid_cv)
    return replace(
        front,
        heights=heights,
        core=(mean, float(np.log(sd)), min(front.core[2], 0.6)),
        late=(mean, float(np.log(sd)), float(np.log(4 * sd))),
    )


def _with_early(front: Front, volume_cv: Array, left: Array, seen: Outline) -> Front:
    sd = float(np.exp(_steep(seen)))
    steep_from = float(np.mean(seen.crossings_cv[2:5])) - 3.5 * sd
    ahead = volume_cv < steep_from
    curve = left + model(front, volume_cv) - front.level
    weight, middle = 0.02, steep_from - 2 * sd
    if np.count_nonzero(ahead) >= 3:
        weight = float(np.clip(np.median(curve[ahead][-3:]), 0.02, 0.4))
        half = np.interp(weight / 2, np.maximum.accumulate(curve[ahead]), volume_cv[ahead])
        middle = min(float(half), steep_from)
    core = (seen.mid_cv + 0.3 * sd, float(np.log(sd)), max(front.core[2], 0.01))
    heights = np.array([*front.heights, weight * front.heights[0]])
    heights[0] *= 1 - weight
    return replace(front, heights=heights, core=core, early=(middle, float(np.log(sd))))
