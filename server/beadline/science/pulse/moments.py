"""Moments of a peak: what was recorded, plus the little that the record doesn't hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.pulse import emg

Array = NDArray[np.float64]

NAMES = ("area", "mean", "variance", "third")
TRUST_IN_TAIL = 0.5 / np.sqrt(3)  # half of the fitted remainder, as the bound of its error


@dataclass(frozen=True, slots=True, eq=False)
class Moments:
    """Area, mean, variance and third central moment [signal m3, m3, m6, m9].

    Attributes
    ----------
    values : mapping of str to float
        By name: area, mean, variance, third.
    rows : mapping of str to ndarray
        Change of each per unit change of each sample, baseline already removed.
    window_m3 : tuple of float
        Where the record was integrated [m3].
    remainder : mapping of str to float
        How much of each value comes from the fitted curve outside the window.
    hidden : mapping of str to float
        What a tail below the noise may add where the fit can't say; empty where it can.
    """

    values: Mapping[str, float]
    rows: Mapping[str, Array]
    window_m3: tuple[float, float]
    remainder: Mapping[str, float]
    hidden: Mapping[str, float]


def take(
    volume_m3: Array, signal: Array, peak: emg.Fit, *, noise: float, stands: tuple[int, int], fitted: bool
) -> Moments:
    """Integrate the record where the peak stands out; add the fitted curve beyond.

    Parameters
    ----------
    volume_m3, signal : ndarray
        Volume [m3] and signal without baseline.
    peak : Fit
        Fit of the peak without baseline.
    noise : float
        Noise of one sample [signal].
    stands : tuple of int
        First and last sample that stand out of the noise, whatever the fit says.
    fitted : bool
        Whether one tailing peak describes the record; if not, nothing is added beyond the window.

    Returns
    -------
    Moments
        With first-order weights of every sample, through the fit as well.

    Notes
    -----
    The window ends where the fitted peak is below a third of the noise (or a millionth of the
    height). Beyond it, noise would weigh with the square of the volume and the signal nothing.
    """
    fit_ends = _extent(peak.peak(volume_m3), noise) if fitted else stands
    first, last = min(fit_ends[0], stands[0]), max(fit_ends[1], stands[1])
    weights = np.zeros(volume_m3.size)
    span = np.diff(volume_m3[first : last + 1])
    weights[first:last] += span / 2
    weights[first + 1 : last + 1] += span / 2
    window = (float(volume_m3[first]), float(volume_m3[last]))
    origin = float(volume_m3[(first + last) // 2])
    powers = np.vander(volume_m3 - origin, 4, increasing=True).T * weights
    recorded = powers @ signal
    beyond = _beyond(peak.parameters, window, origin) if fitted else np.zeros(4)
    values = _central(recorded + beyond, origin)
    rows = powers + _beyond_gradient(peak, window, origin) @ peak.influence if fitted else powers
    jacobian = _jacobian(recorded + beyond)
    shares = jacobian @ beyond
    return Moments(
        values=dict(zip(NAMES, values, strict=True)),
        rows=dict(zip(NAMES, jacobian @ rows, strict=True)),
        window_m3=window,
        remainder=dict(zip(NAMES, (float(share) for share in shares), strict=True)),
        hidden=_hidden(values, window, noise) if not fitted or _goes_on(fit_ends, stands) else {},
    )


def _goes_on(fit_ends: tuple[int, int], stands: tuple[int, int]) -> bool:
    """Whether the record stands out clearly farther than the fit does."""
    more = (fit_ends[1] - fit_ends[0]) // 4
    return stands[0] < fit_ends[0] - more or stands[1] > fit_ends[1] + more


def _hidden(values: list[float], window: tuple[float, float], noise: float) -> dict[str, float]:
    """What tails that run on below the noise would add, when the fit can't tell.

    They are taken to start at half the noise of a sample and to fall by e over a fifth of their distance
    from the mean.
    """
    area, mean, _, _ = values
    added = np.zeros(2)
    for end in window:
        x = abs(end - mean)
        fall = x / 5
        start = 0.5 * noise * fall / abs(area)
        added += start * np.array([x + fall, x**2 + 2 * x * fall + 2 * fall**2])
    return {"mean": float(added[0]), "variance": float(added[1])}


def _extent(shape: Array, noise: float) -> tuple[int, int]:
    """First and last sample between which the fitted peak stands out."""
    top, apex = float(np.max(shape)), int(np.argmax(shape))
    outside = shape < max(1e-6 * top, min(noise / 3, 0.01 * top))
    first = int(np.max(np.flatnonzero(outside[: apex + 1]), initial=0))
    gone = np.flatnonzero(outside[apex:])
    return first, apex + int(gone[0]) if gone.size else shape.size - 1


def _central(raw: Array, origin: float) -> list[float]:
    """Area, mean, variance and third central moment from raw moments about `origin`."""
    area = float(raw[0])
    first, second, third = (float(raw[k]) / area for k in (1, 2, 3))
    return [area, origin + first, second - first**2, third - 3 * first * second + 2 * first**3]


def _jacobian(raw: Array) -> Array:
    """Derivative of area, mean, variance and third moment with respect to the raw moments."""
    area = float(raw[0])
    mean, second, third = (float(raw[k]) / area for k in (1, 2, 3))
    variance = second - mean**2
    central = third - 3 * mean * second + 2 * mean**3
    return np.array(
        [
            [1.0, 0.0, 0.0, 0.0],
            [-mean / area, 1 / area, 0.0, 0.0],
            # mean of (V - M1)^2 - M2
            [(mean**2 - variance) / area, -2 * mean / area, 1 / area, 0.0],
            # mean of (V - M1)^3 - M3 - 3 M2 (V - M1)
            [
                (-(mean**3) - central + 3 * variance * mean) / area,
                (3 * mean**2 - 3 * variance) / area,
                -3 * mean / area,
                1 / area,
            ],
        ]
    )


def _beyond(parameters: Array, window: tuple[float, float], origin: float) -> Array:
    """Raw moments of the fitted curve outside the window."""
    mu, sigma, tau, area = parameters
    width = 12 * sigma
    low = min(window[0], mu - width) - (40 * abs(tau) if tau < 0 else 0)
    high = max(window[1], mu + width) + (40 * abs(tau) if tau > 0 else 0)
    total = np.zeros(4)
    for start, end in ((low, window[0]), (window[1], high)):
        if end > start:
            grid = np.linspace(start, end, 801)
            curve = area * emg.density(grid, mu, sigma, tau)
            step = (end - start) / 800
            simpson = np.full(801, 2.0)
            simpson[1::2] = 4.0
            simpson[[0, -1]] = 1.0
            total += np.vander(grid - origin, 4, increasing=True).T @ (curve * simpson) * step / 3
    return total


def _beyond_gradient(peak: emg.Fit, window: tuple[float, float], origin: float) -> Array:
    """Change of those moments with each parameter of the fit."""
    steps = 1e-4 * np.array([peak.sigma_m3, peak.sigma_m3, max(abs(peak.tau_m3), peak.sigma_m3), peak.area])
    columns = [
        (_beyond(peak.parameters + d, window, origin) - _beyond(peak.parameters - d, window, origin))
        / (2 * d.max())
        for d in np.diag(steps)
    ]
    return np.column_stack(columns)
