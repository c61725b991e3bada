"""How many parts a front needs: no more than the record can tell apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from beadline.science.transition import cleaning, shapes
from beadline.science.transition.fitting import Fit, Points, fit_front
from beadline.science.transition.front import Front
from beadline.science.transition.outline import Outline
from beadline.science.transition.result import Array

_HINT = 6.0  # gain in misfit, in noise variances, that makes another part worth trying
_HINT_BOTH = 9.5  # the same for two more parts, of which chance gains this as often
_SHARE = 0.15  # of what isn't noise: less than this and another part isn't what is missing
_GAIN = 14.0  # the same, for keeping it: chance does it in less than 1 record of 100
_STARK = 20.0  # what is left over, in the same measure, for two parts to be tried at once


def best_front(points: Points, seen: Outline, *, noise: float) -> Fit:
    """Fit a core, and a late and an early part where they explain what a core leaves over.

    Parameters
    ----------
    points : Points
        Cleaned record as fractions of the outlined step.
    seen : Outline
        Where the step is.
    noise : float
        Standard deviation of one point, in fractions of the step.
    """
    few = points.pooled(seen.mid_cv, max(seen.spread_cv, 1e-4))
    volume, weights = points.volume_cv, points.weights

    def fitted(start: Front) -> Fit:
        front = fit_front(few, start, noise=noise)
        return Fit(front, points.fraction - front.curve(volume))

    best = fitted(_core_alone(seen))
    if not best.front.plain():
        best = Fit(_core_alone(seen), points.fraction - _core_alone(seen).curve(volume))
    alone = best
    unexplained, chance = _left_over(best, weights, noise)
    tried: set[str] = set()
    while wanted := _wanted(best.front, tried):
        hint, kind = max(zip(_hints(best.front, few, wanted, seen), wanted, strict=True))
        if hint < max(_HINT * chance, _SHARE * unexplained):
            break
        wider = _with_late if kind == "late" else _with_early
        trial = _better(best, fitted(wider(best.front, volume, best.left, seen)), points)
        tried = tried | {kind} if trial is best else set()
        best = trial
        unexplained, chance = _left_over(best, weights, noise)
    stark = not (best.front.late and best.front.early) and unexplained > _STARK * chance
    if stark and _hints(alone.front, few, ["both"], seen)[0] > _HINT_BOTH * chance:
        both = _with_late(alone.front, volume, alone.left, seen)  # each hides the other from its own hint
        both = _with_early(both, volume, points.fraction - both.curve(volume), seen)
        best = _better(best, fitted(both), points)
    return best


def _wanted(front: Front, tried: set[str]) -> list[str]:
    there = {"late": front.late, "early": front.early}
    return [kind for kind, part in there.items() if not part and kind not in tried]


def _left_over(fit: Fit, weights: Array, noise: float) -> tuple[float, float]:
    """Squares that noise does not explain, and what one chance direction of the noise would add to them."""
    left = weights * fit.left
    point = max(cleaning.point_noise(fit.left), 0.5 * noise)
    return float(left @ left) - float(np.sum(weights**2)) * point**2, together(left, point) ** 2


def _better(best: Fit, trial: Fit, points: Points) -> Fit:
    """The trial, if it makes sense and earns its extra numbers."""
    sensible = trial.front.plain() and _within(trial.front, points.volume_cv)
    return trial if sensible and _pays(trial, best, points.weights) else best


def _hints(front: Front, points: Points, kinds: list[str], seen: Outline) -> list[float]:
    """How much of what was left over small parts of each kind would explain, before any new fit."""
    volume, weights = points.volume_cv, points.weights
    sd, centre = max(seen.spread_cv, 1e-4), seen.mid_cv
    rise, tangents = front.rise_and_tangents(volume)
    known = np.vstack((np.ones_like(volume), volume - centre, tangents)) * weights
    basis = np.linalg.qr(known.T)[0]
    left = weights * (points.fraction - front.plateau(volume) - rise)
    found = []
    for kind in kinds:
        added: list[Array] = []
        if kind != "early":
            added += [shapes.late(volume, centre, np.log(sd), np.log(k * sd)).cumulative for k in (2.0, 5.0)]
        if kind != "late":
            added += [shapes.early(volume, centre - k * sd, np.log(sd)).cumulative for k in (3.5, 6.0)]
        new = np.array(added).T * weights[:, None]
        new = np.linalg.qr(new - basis @ (basis.T @ new))[0]
        found.append(float(np.sum((new.T @ left) ** 2)))
    return found


def _within(front: Front, volume_cv: Array) -> bool:
    """Whether the added parts lie where the record can show them."""
    sd, centre = front.sd_cv, front.core[0]
    if front.late:
        tau, share = np.exp(front.late[0]), front.heights[1] / front.height
        if not (0.8 * sd < tau < (volume_cv[-1] - centre) / 2.5 and share < 0.6):
            return False
    if front.early:
        place, width, share = front.early[0], np.exp(front.early[1]), front.heights[-1] / front.height
        clear = place < centre - 1.5 * sd and place - width > volume_cv[0]
        return bool(clear and 0.3 * sd < width < 2.5 * sd and share < 0.5)
    return True


def _pays(trial: Fit, best: Fit, weights: Array) -> bool:
    """Whether a wider front earns its extra numbers, where neighbours may err together."""
    left, points = weights * trial.left, float(np.sum(weights**2))
    spread = max(float(np.sqrt(left @ left / points)), 1e-12)
    independent = points * (spread / together(left, spread)) ** 2
    gain = independent * np.log(np.sum((weights * best.left) ** 2) / max(float(left @ left), 1e-30))
    return bool(gain > _GAIN)


def together(left: Array, noise: float) -> float:
    """Noise as averages of neighbours see it: larger than a point's when they err together.

    Examples
    --------
    >>> import numpy as np
    >>> noise = np.random.default_rng(3).normal(0.0, 0.01, 600)
    >>> together(noise, 0.01)
    0.01
    >>> bool(together(np.repeat(noise, 10), 0.01) > 0.025)
    True
    """
    widest = noise
    for length in (4, 8, 16, 32):
        blocks = left.size // length
        if blocks < 8:
            break
        sums = left[: blocks * length].reshape(blocks, length).sum(axis=1)
        seen = float(np.sqrt(sums @ sums / (blocks * length)))
        by_chance = 1.0 + 1.0 / np.sqrt(blocks)
        widest = max(widest, seen if seen > by_chance * noise else 0.0)
    return widest


def remembered(left: Array) -> float:
    """Noise of long averages if each point remembers the one before it; 0 if none is seen to.

    References
    ----------
    Bartlett, J. R. Stat. Soc. Suppl. 8 (1946) 27, for the variance of a mean (from memory).
    """
    variance = float(left @ left) / left.size
    if left.size < 32 or variance == 0:
        return 0.0
    memory = float(left[1:] @ left[:-1]) / left.size / variance
    if memory < 3.0 / np.sqrt(left.size):
        return 0.0
    return float(np.sqrt(variance * (1 + memory) / (1 - min(memory, 0.95))))


def _core_alone(seen: Outline) -> Front:
    low, quarter, middle, three, high = seen.crossings_cv[1:6]
    spread = max(seen.spread_cv, 1e-4)
    lean = float(np.clip((high + low - 2 * middle) / max(high - low, 1e-6), -0.45, 0.45))
    sd = float(np.clip(0.5 * (high - low), spread, 3 * spread))
    mean = float(np.clip(middle + lean * sd, quarter - spread, three + spread))
    return Front(
        0.0, 0.0, np.array([1.0]), (mean, float(np.log(sd)), 3.0 * lean or 0.01), about_cv=seen.mid_cv
    )


def _with_late(front: Front, _volume_cv: Array, _left: Array, seen: Outline) -> Front:
    """Start a late part four widths long; the width comes from the front's first half."""
    sd = max(float(seen.crossings_cv[3] - seen.crossings_cv[1]), 1e-4)
    heights = np.array([0.9 * front.heights[0], 0.1 * front.heights[0], *front.heights[1:]])
    mean = min(front.core[0], seen.mid_cv)
    core = (mean, float(np.log(sd)), min(front.core[2], 0.6))
    return replace(front, heights=heights, core=core, late=(float(np.log(4 * sd)),))


def _with_early(front: Front, volume_cv: Array, left: Array, seen: Outline) -> Front:
    """Start an early part as high and wide as the foot; the width comes from the front's second half."""
    middle, high = seen.crossings_cv[[3, 5]]
    sd = max(float(high - middle), 1e-4)
    edge = float(middle) - 3 * sd
    ahead = volume_cv < edge
    curve = left + front.rise(volume_cv)
    share, place = 0.02, edge - 2 * sd
    if np.count_nonzero(ahead) >= 4:
        near = ahead & (volume_cv > edge - 2 * sd)
        last = curve[near] if np.count_nonzero(near) >= 4 else curve[ahead][-4:]
        share = float(np.clip(np.mean(last), 0.01, 0.4))
        area = float(np.trapezoid(curve[ahead], volume_cv[ahead]))
        place = float(np.clip(edge - area / share, max(volume_cv[0], edge - 15 * sd), edge - 0.5 * sd))
    core = (float(middle) + 0.2 * sd, float(np.log(sd)), max(front.core[2], 0.01))
    heights = np.array([*front.heights, share * front.heights[0]])
    heights[0] *= 1 - share
    return replace(front, heights=heights, core=core, early=(place, float(np.log(sd))))
