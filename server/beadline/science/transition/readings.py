"""Numbers read from a settled front, each with its standard uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from beadline.science.estimates import Estimate
from beadline.science.transition.curve import Curve, Moments
from beadline.science.transition.result import Array

_QUARTILE_SD = 1.3489795  # distance of the quartiles of a Gaussian in standard deviations
_LEAST_U = 1e-6  # share of a value that the arithmetic itself may be wrong by
_FOOT_FROM = 2.5  # front widths from the middle at which early foot and late tail begin


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """A value and its change along independent directions of unit variance."""

    value: float
    spread: Array

    @property
    def estimate(self) -> Estimate:
        """Value with standard uncertainty, never below what the arithmetic can hold."""
        u = float(np.sqrt(self.spread @ self.spread))
        return Estimate(float(self.value), max(u, _LEAST_U * abs(float(self.value)), 1e-12))

    def minus(self, other: Read) -> Read:
        """Difference of two readings of one curve."""
        return Read(self.value - other.value, self.spread - other.spread)

    def over(self, other: Read) -> Read:
        """Ratio of two readings of one curve."""
        ratio = self.value / other.value
        return Read(ratio, (self.spread - ratio * other.spread) / other.value)

    def times(self, factor: float) -> Read:
        """A multiple of the reading."""
        return Read(self.value * factor, self.spread * factor)


def shape_of(moments: Moments, *, system_variance_cv2: float = 0.0) -> dict[str, Read]:
    """Mean, variance, skewness and excess kurtosis, by the delta method.

    Notes
    -----
    The system's variance is taken off the variance; skewness and kurtosis are those of the
    front as measured.
    """
    one, two, three, four = moments.raw[1:]
    by = moments.spread
    mean = Read(moments.about_cv + one, by[1])
    second = Read(two - one**2, by[2] - 2 * one * by[1])
    third = Read(three - 3 * one * two + 2 * one**3, by[3] - 3 * one * by[2] + (6 * one**2 - 3 * two) * by[1])
    fourth = Read(
        four - 4 * one * three + 6 * one**2 * two - 3 * one**4,
        by[4] - 4 * one * by[3] + 6 * one**2 * by[2] + (12 * one * two - 4 * three - 12 * one**3) * by[1],
    )
    found = {"mean_cv": mean, "variance_cv2": Read(second.value - system_variance_cv2, second.spread)}
    if second.value > 0:
        skew = third.value / second.value**1.5
        kurtosis = fourth.value / second.value**2
        found["skewness"] = Read(
            skew, third.spread / second.value**1.5 - 1.5 * skew * second.spread / second.value
        )
        spread = fourth.spread / second.value**2 - 2 * kurtosis * second.spread / second.value
        curved = 6 * (found["skewness"].estimate.u / 2) ** (4 / 3)  # the delta method misses it near symmetry
        found["excess_kurtosis"] = Read(kurtosis - 3, np.append(spread, curved))
    return found


def plate_height(mean: Read, variance: Read, *, bed_height_m: float) -> Read:
    """HETP [m] as bed height times variance over squared mean."""
    value = bed_height_m * variance.value / mean.value**2
    relative = variance.spread / variance.value - 2 * mean.spread / mean.value
    return Read(value, value * relative)


def width_plate_height(curve: Curve, levels: tuple[float, float], *, bed_height_m: float) -> Read | None:
    """HETP [m] from the distance of two levels and the volume of half the step.

    References
    ----------
    Levenspiel, Chemical Reaction Engineering, 3rd ed., Example 13.2, for the 16 and 84 % points.
    """
    low, high, middle = (crossing(curve, level) for level in (*levels, 0.5))
    if low is None or high is None or middle is None:
        return None
    sd = high.minus(low).times(1.0 / float(np.diff(normal_points(levels))[0]))
    share = sd.over(middle)
    return Read(bed_height_m * share.value**2, 2 * bed_height_m * share.value * share.spread)


def normal_points(levels: tuple[float, float]) -> Array:
    """Points of the standard Gaussian at two levels."""
    return np.asarray(scipy.special.ndtri(levels))


def crossing(curve: Curve, level: float) -> Read | None:
    """Volume at which the curve passes a level: the first time below one half, the last above it."""
    above = curve.fraction >= level
    flips = np.flatnonzero(above[1:] & ~above[:-1])
    if flips.size == 0:
        return None
    k = int(flips[0] if level < 0.5 else flips[-1] if level > 0.5 else flips[flips.size // 2])
    found = _between(curve.volume_cv, curve.fraction, curve.spread(k, k + 2), k, level)
    return Read(_bent(curve, k, level), found.spread)


def _bent(curve: Curve, k: int, level: float) -> float:
    """Where the curve passes the level between two grid points, with its bend."""
    width = curve.volume_cv[k + 1] - curve.volume_cv[k]
    low, high = curve.fraction[k], curve.fraction[k + 1]
    at_low, at_high = curve.density[k] * width, curve.density[k + 1] * width
    share = first = (level - low) / (high - low)
    for _ in range(2):
        cubic = (at_low + at_high - 2 * (high - low)) * share + (3 * (high - low) - 2 * at_low - at_high)
        value = low + share * (at_low + share * cubic)
        share = share - (value - level) / (high - low)
    bent = share if 0 <= share <= 1 else first
    return float(curve.volume_cv[k] + bent * width)


def _between(volume: Array, values: Array, spread: Array, k: int, level: float) -> Read:
    rise = values[k + 1] - values[k]
    share = (level - values[k]) / rise
    slope = rise / (volume[k + 1] - volume[k])
    at = (1 - share) * spread[0] + share * spread[1]
    return Read(float(volume[k] + share * (volume[k + 1] - volume[k])), -at / slope)


@dataclass(frozen=True, slots=True, eq=False)
class Peak:
    """Construction on the derivative peak.

    Attributes
    ----------
    apex, height : Read
        Volume [CV] and height [1/CV] of the greatest slope.
    front, back : Read or None
        Volumes at which the derivative passes the level, going out from the apex.
    """

    apex: Read
    height: Read
    front: Read | None
    back: Read | None


def peak(curve: Curve, *, level: float) -> Peak:
    """Apex by a parabola through the three highest points, and the crossings of a level beside it."""
    v, f = curve.volume_cv, curve.density
    k = int(np.clip(np.argmax(f), 1, f.size - 2))
    reach = slice(max(k - 6, 0), k + 7)
    x = v[reach] - v[k]
    half = max(float(x[-1]), -float(x[0]), 1e-12)
    wanted = np.column_stack((f[reach], curve.density_spread(max(k - 6, 0), min(k + 7, f.size))))
    found = np.asarray(np.linalg.lstsq(np.vander(x / half, 4), wanted)[0], dtype=float)
    cubic, by = found[:, 0], found[:, 1:]
    t = _top(cubic)
    powers = np.array([t**3, t**2, t, 1.0])
    bend = 6 * cubic[0] * t + 2 * cubic[1]
    slope_spread = np.array([3 * t**2, 2 * t, 1.0, 0.0]) @ by
    moved = -slope_spread / bend if bend < 0 else np.zeros(by.shape[1])
    apex = Read(float(v[k] + half * t), half * moved)
    height = Read(float(powers @ cubic), powers @ by)
    return Peak(apex, height, _beside(curve, k, height, level, -1), _beside(curve, k, height, level, 1))


def _top(cubic: Array) -> float:
    a, b, c = 3 * cubic[0], 2 * cubic[1], cubic[2]
    root = b * b - 4 * a * c
    if root < 0 or b >= 0:
        return 0.0
    return float(np.clip(2 * c / (-b + np.sqrt(root)), -1.0, 1.0))


def _beside(curve: Curve, k: int, height: Read, level: float, way: int) -> Read | None:
    f = curve.density
    target = level * height.value
    beyond = np.flatnonzero(f[k:] < target) if way > 0 else np.flatnonzero(f[k::-1] < target)
    if beyond.size == 0 or beyond[0] == 0:
        return None
    j = k + int(beyond[0]) - 1 if way > 0 else k - int(beyond[0])
    found = _between(curve.volume_cv, f, curve.density_spread(j, j + 2), j, target)
    slope = (f[j + 1] - f[j]) / (curve.volume_cv[j + 1] - curve.volume_cv[j])
    return Read(found.value, found.spread + level * height.spread / slope)


def ends(curve: Curve) -> dict[str, Read]:
    """Areas under the early foot and over the late tail, in units of the front's width.

    Notes
    -----
    The width is the standard deviation of a Gaussian with the front's quartiles. The foot is the
    area under the curve more than 2.5 widths ahead of the middle, the tail the area over it more
    than 2.5 widths behind; for a Gaussian both are 0.0020.
    """
    low, middle, high = (crossing(curve, level) for level in (0.25, 0.5, 0.75))
    if low is None or middle is None or high is None or high.value <= low.value:
        return {}
    width = high.minus(low).times(1 / _QUARTILE_SD)
    found: dict[str, Read] = {}
    for name, way in (("early_foot", -1), ("late_tail", 1)):
        edge = Read(
            middle.value + way * _FOOT_FROM * width.value, middle.spread + way * _FOOT_FROM * width.spread
        )
        found[name] = _area(curve, edge, way).over(width)
    return found


def _area(curve: Curve, edge: Read, way: int) -> Read:
    """Area beyond an edge; grid cells that the edge cuts count in part."""
    v = curve.volume_cv
    values = curve.fraction if way < 0 else 1 - curve.fraction
    weight = np.gradient(v)
    inside = np.clip(0.5 + (v - edge.value) * way / weight, 0.0, 1.0) * weight
    at_edge = float(np.interp(edge.value, v, values))
    return Read(float(inside @ values), -way * curve.sum_spread(inside) - way * at_edge * edge.spread)


def difference(curve: Curve, reference: Array) -> Read:
    """Area between the curve and a reference on the same grid [CV]; the reference is taken as exact."""
    apart = curve.fraction - reference
    weight = np.gradient(curve.volume_cv)
    weight[[0, -1]] *= 0.5
    signed = curve.sum_spread(weight * np.sign(apart))
    sd = np.sqrt(np.sum(curve.spread(0, apart.size) ** 2, axis=1))
    unresolved = 0.8 * float(weight @ np.where(np.abs(apart) < 2 * sd, sd, 0.0))
    return Read(float(weight @ np.abs(apart)), np.append(signed, unresolved))
