"""The front's parts as cumulative shapes: their values, slopes, tangents and exact moments."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from beadline.science.transition.result import Array

_ROOT_2PI = float(np.sqrt(2 * np.pi))
_HALF_ROOT = float(np.sqrt(0.5))
_FAR_BEHIND = 8.5  # standard deviations at which a Gaussian's integral is 1 to the last digit
_ERFCX_REACH = 9.0  # keeps what is replaced behind that finite
_LEAST_TAIL = 0.02
_MOST_SKEW = 1.95


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """One part of a front at the points asked for.

    Attributes
    ----------
    cumulative : ndarray [n]
        From 0 to 1.
    tangents : ndarray [k, n]
        Derivative of `cumulative` with respect to the part's own k parameters.
    """

    cumulative: Array
    tangents: Array


def tailed(volume: Array, mu: float, sigma: float, tau: float) -> tuple[Array, Array, Array, Array]:
    """Step response of a Gaussian followed by an exponential decay, and its derivatives.

    Returns
    -------
    tuple of ndarray
        F, f = dF/dV, df/dV, dF/dtau (mu and sigma fixed).

    References
    ----------
    Exponentially modified Gaussian, ``F = Phi(z) - tau f``; Foley and Dorsey, J. Chromatogr. Sci.
    22 (1984) 40 (from memory), recomputed by quadrature in the tests.

    Examples
    --------
    >>> import numpy as np
    >>> round(float(tailed(np.array([1.0]), 1.0, 0.05, 0.05)[0][0]), 6)
    0.238422
    """
    z = (volume - mu) / sigma
    ratio = sigma / tau
    bell = np.exp(-0.5 * np.minimum(z * z, 1400.0))
    ahead = scipy.special.erfcx(np.maximum((ratio - z) * _HALF_ROOT, -_ERFCX_REACH))
    density = (0.5 / tau) * bell * ahead
    behind = z - ratio > _FAR_BEHIND
    if behind.any():  # where the bell has died away the decay alone is left
        density[behind] = np.exp(ratio * (0.5 * ratio - z[behind])) / tau
    cumulative = scipy.special.ndtr(z) - tau * density
    bell *= 1.0 / (_ROOT_2PI * sigma)
    slope = (bell - density) / tau
    by_tau = ratio * (density * (ratio - z) - bell * ratio)
    return cumulative, density, slope, by_tau


def core(volume: Array, mean: float, log_sd: float, skew: float) -> Shape:
    """A front of given mean, standard deviation and skewness of either sign.

    Skewness above 0 is an exponential tail behind the Gaussian, below 0 one ahead of it; in
    these parameters the family is smooth through the plain Gaussian. The skewness itself levels
    off towards 1.95, short of the bare exponential's 2.
    """
    sd = float(np.exp(log_sd))
    ratio, sign, steep = _tail_share(skew)
    tau, sigma = sd * ratio, sd * float(np.sqrt(1.0 - ratio * ratio))
    offset = sign * (volume - mean)
    cumulative, density, slope, by_tau = tailed(offset, -tau, sigma, tau)
    by_skew = (by_tau + density - tau * slope) * steep * sd / (6 * ratio * ratio)
    if sign < 0:  # F(v) = 1 - F(-v); two mirrored signs cancel in the tangent to the skewness
        cumulative = 1.0 - cumulative
    return Shape(cumulative, np.array((-density, -density * (volume - mean), by_skew)))


def _tail_share(skew: float) -> tuple[float, float, float]:
    """Tail over total width, its side, and how fast the skewness follows its parameter."""
    bent = float(np.tanh(abs(skew) / _MOST_SKEW))
    ratio = float(np.cbrt(_MOST_SKEW * bent / 2.0))
    return max(ratio, _LEAST_TAIL), (1.0 if skew >= 0 else -1.0), 1.0 - bent * bent


def late(volume: Array, mean: float, log_sd: float, log_tau: float) -> Shape:
    """A share of the flow held up after the core: a Gaussian as wide as it, then an exponential."""
    sd, tau = float(np.exp(log_sd)), float(np.exp(log_tau))
    cumulative, density, slope, by_tau = tailed(volume, mean, sd, tau)
    return Shape(cumulative, np.array((-density, sd * sd * slope, tau * by_tau)))


def early(volume: Array, mean: float, log_sd: float) -> Shape:
    """A share of the flow on a path of its own: a Gaussian."""
    sd = float(np.exp(log_sd))
    z = (volume - mean) / sd
    density = np.exp(-0.5 * np.minimum(z * z, 1400.0)) / (_ROOT_2PI * sd)
    return Shape(scipy.special.ndtr(z), np.array((-density, -density * (volume - mean))))


def core_moments(mean: float, log_sd: float, skew: float, *, about: float) -> Array:
    """Moments 0 to 4 of the core about a volume."""
    sd = float(np.exp(log_sd))
    ratio, sign, _ = _tail_share(skew)
    return about_point(mean - about, sd**2, sign * 2 * ratio**3 * sd**3, sd**4 * (3 + 6 * ratio**4))


def late_moments(mean: float, log_sd: float, log_tau: float, *, about: float) -> Array:
    """Moments 0 to 4 of the late part about a volume."""
    sd, tau = float(np.exp(log_sd)), float(np.exp(log_tau))
    variance = sd**2 + tau**2
    return about_point(mean + tau - about, variance, 2 * tau**3, 3 * variance**2 + 6 * tau**4)


def early_moments(mean: float, log_sd: float, *, about: float) -> Array:
    """Moments 0 to 4 of the early part about a volume."""
    variance = float(np.exp(2 * log_sd))
    return about_point(mean - about, variance, 0.0, 3 * variance**2)


def about_point(offset: float, second: float, third: float, fourth: float) -> Array:
    """Moments 0 to 4 about a point that lies `offset` below the mean, from central moments.

    Examples
    --------
    >>> about_point(1.0, 2.0, 0.0, 12.0).tolist()
    [1.0, 1.0, 3.0, 7.0, 25.0]
    """
    d = offset
    return np.array(
        [
            1.0,
            d,
            second + d * d,
            third + 3 * d * second + d**3,
            fourth + 4 * d * third + 6 * d * d * second + d**4,
        ]
    )
