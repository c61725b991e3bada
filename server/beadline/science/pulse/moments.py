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
    """

    values: Mapping[str, float]
    rows: Mapping[str, Array]
    window_m3: tuple[float, float]
    remainder: Mapping[str, float]


def take(
    volume_m3: Array, signal: Array, peak: emg.Fit, *, noise: float, smooth: Array | None = None
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
    smooth : ndarray, optional
        Smoothed signal; given when one tailing peak doesn't describe the record. Then the window follows
        it, and nothing is added beyond.

    Returns
    -------
    Moments
        With first-order weights of every sample, through the fit as well.

    Notes
    -----
    The window ends where the fitted peak is below a third of the noise (or a millionth of the
    height). Beyond it, noise would weigh with the square of the volume and the signal nothing.
    """
    first, last = _extent(peak.peak(volume_m3), noise) if smooth is None else _wide_extent(smooth, noise)
    weights = np.zeros(volume_m3.size)
    span = np.diff(volume_m3[first : last + 1])
    weights[first:last] += span / 2
    weights[first + 1 : last + 1] += span / 2
    window = (float(volume_m3[first]), float(volume_m3[last]))
    origin = float(volume_m3[(first + last) // 2])
    powers = np.vander(volume_m3 - origin, 4, increasing=True).T * weights
    recorded = powers @ signal
    beyond = _beyond(peak.parameters, window, origin) if smooth is None else np.zeros(4)
    values = _central(recorded + beyond, origin)
    rows = powers if smooth is not None else powers + _beyond_gradient(peak, window, origin) @ peak.influence
    jacobian = _jacobian(recorded + beyond)
    shares = jacobian @ beyond
    return Moments(
        values=dict(zip(NAMES, values, strict=True)),
        rows=dict(zip(NAMES, jacobian @ rows, strict=True)),
        window_m3=window,
        remainder=dict(zip(NAMES, (float(share) for share in shares), strict=True)),
    )


def _extent(shape: Array, noise: float) -> tuple[int, int]:
    """First and last sample between which the fitted peak stands out."""
    top, apex = float(np.max(shape)), int(np.argmax(shape))
    outside = shape < max(1e-6 * top, min(noise / 3, 0.01 * top))
    first = int(np.max(np.flatnonzero(outside[: apex + 1]), initial=0))
    gone = np.flatnonzero(outside[apex:])
    return first, apex + int(gone[0]) if gone.size else shape.size - 1


def _wide_extent(smooth: Array, noise: float) -> tuple[int, int]:
    """First and last sample of all that stands out of a smoothed record, and a fifth of that beyond."""
    clear = np.flatnonzero(
        smooth > max(0.01 * float(np.max(smooth)), min(noise, 0.1 * float(np.max(smooth))))
    )
    more = (clear[-1] - clear[0]) // 5
    return int(max(clear[0] - more, 0)), int(min(clear[-1] + more, smooth.size - 1))


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
