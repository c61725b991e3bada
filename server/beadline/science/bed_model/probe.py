"""What the instruments make of the truth: gain, offset, drift, noise, spikes, bubbles, gaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.bed_model.variation import autoregressive

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Probe:
    """A probe's imperfections.

    Attributes
    ----------
    gain : float
        Reading over truth [1].
    offset : float
        Added to the reading [signal unit].
    drift_per_cv : float
        Growth of the offset over the volume of the run [signal unit/CV].
    noise : float
        Standard deviation of white noise [signal unit].
    wander : float
        Standard deviation of slow noise, from uneven mixing of the liquids [signal unit].
    wander_length_cv : float
        Volume over which the slow noise forgets [CV].
    """

    gain: float = 1.0
    offset: float = 0.0
    drift_per_cv: float = 0.0
    noise: float = 0.0
    wander: float = 0.0
    wander_length_cv: float = 0.05


@dataclass(frozen=True, slots=True)
class Disturbances:
    """Odd events in a recorded signal.

    Attributes
    ----------
    spikes : int
        Single points that are far off.
    bubbles : int
        Air bubbles: the signal falls towards 0 for some points.
    gaps : int
        Stretches of missing values.
    """

    spikes: int = 0
    bubbles: int = 0
    gaps: int = 0


def conductivity_at(conductivity_25c: Array | float, temperature_k: float) -> Array | float:
    """Conductivity of a buffer at a temperature, from that at 25 °C; same unit.

    Notes
    -----
    2 % per kelvin: usual for salts in water between 5 and 40 °C (common practice, no source).

    Examples
    --------
    >>> round(float(conductivity_at(100.0, 293.15)), 6)
    90.0
    """
    return conductivity_25c * (1 + 0.02 * (temperature_k - 298.15))


def read(truth: Array, probe: Probe, *, volume_cv: Array, rng: np.random.Generator) -> Array:
    """Reading of a probe.

    Parameters
    ----------
    truth : ndarray
        True signal.
    probe : Probe
        Its imperfections.
    volume_cv : ndarray
        Volume at each point [CV].
    rng : numpy.random.Generator
        Source of chance.

    Returns
    -------
    ndarray
        Reading, in the unit of the truth.

    Notes
    -----
    A probe's lag belongs to the curve (`lag_cv` of `curve`), since it acts like a stirred volume.

    Examples
    --------
    >>> read(np.ones(2), Probe(gain=2), volume_cv=np.arange(2.0), rng=np.random.default_rng(1))
    array([2., 2.])
    """
    clean = probe.gain * truth + probe.offset + probe.drift_per_cv * volume_cv
    noisy = clean + probe.noise * rng.standard_normal(truth.size)
    return noisy + _wander(probe, volume_cv, rng) if probe.wander else noisy


def _wander(probe: Probe, volume_cv: Array, rng: np.random.Generator) -> Array:
    """Slow noise, drawn on an even grid of a quarter of its length and read at the given volumes."""
    grid = np.arange(volume_cv[0], volume_cv[-1] + probe.wander_length_cv, probe.wander_length_cv / 4)
    series = autoregressive(rng, count=grid.size, phi=float(np.exp(-0.25)), sd=probe.wander)
    return np.interp(volume_cv, grid, series)


def disturb(reading: Array, disturbances: Disturbances, *, rng: np.random.Generator) -> Array:
    """Reading with spikes, bubbles and gaps at places drawn by chance; missing values are NaN.

    Parameters
    ----------
    reading : ndarray
        Reading of a probe; at least 50 points.
    disturbances : Disturbances
        How many of each.
    rng : numpy.random.Generator
        Source of chance.

    Returns
    -------
    ndarray
        A changed copy.

    Raises
    ------
    ValueError
        If the reading has fewer than 50 points.

    Notes
    -----
    Spikes are up to half the signal's range; bubbles last 3 to 8 points; gaps 5 to 20 points (sizes are
    common practice, no source).

    Examples
    --------
    >>> odd = disturb(np.ones(100), Disturbances(bubbles=1), rng=np.random.default_rng(1))
    >>> 3 <= int((odd < 0.5).sum()) <= 8
    True
    """
    if reading.size < 50:
        raise ValueError(f"reading must have at least 50 points, not {reading.size}")
    out = reading.copy()
    extent = float(np.ptp(reading))
    for _ in range(disturbances.spikes):
        out[rng.integers(out.size)] += extent * rng.uniform(-0.5, 0.5)
    for _ in range(disturbances.bubbles):
        start, length = int(rng.integers(out.size - 8)), int(rng.integers(3, 9))
        out[start : start + length] *= rng.uniform(0.02, 0.3, length)
    for _ in range(disturbances.gaps):
        start, length = int(rng.integers(out.size - 20)), int(rng.integers(5, 21))
        out[start : start + length] = np.nan
    return out
