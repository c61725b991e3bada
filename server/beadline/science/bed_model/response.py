"""Outlet curves of a bed, from its transfer function."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from beadline.science.bed_model import dispersion
from beadline.science.bed_model.bed import Bed, Run

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]

POINTS = 4096
SPAN_CV = 8.0


def _path(s: ComplexArray, *, mean_cv: float, plates: float, bed: Bed) -> ComplexArray:
    """Transfer function of one dispersed path with stagnant liquid beside it."""
    moving = mean_cv / (1 + bed.stagnant_ratio)
    slowed = s * (1 + bed.stagnant_ratio / (1 + s * bed.stagnant_exchange_cv)) if bed.stagnant_ratio else s
    return np.exp(plates * (1 - np.sqrt(1 + 2 * slowed * moving / plates)))


def transform(s: ComplexArray, bed: Bed, *, run: Run, lag_cv: float = 0.0) -> ComplexArray:
    """Transfer function from the valve to the signal: Laplace transform of the residence-time density.

    Parameters
    ----------
    s : ndarray of complex
        Laplace variable [1/CV].
    bed : Bed
        The bed.
    run : Run
        How it is run.
    lag_cv : float
        First-order lag of the probe [CV].

    Returns
    -------
    ndarray of complex
        1 at s = 0.

    Notes
    -----
    Each path is axial dispersion with a first-type inlet (inverse Gaussian: variance exactly mean^2/N),
    with stagnant liquid exchanging at first order. Paths run in parallel over the whole height and keep the
    liquid of the bed: the flow-weighted mean stays the liquid volume, whatever the split. Gap, skid volumes
    and probe lag are stirred volumes in series: each adds V to the mean and V^2 to the variance.

    References
    ----------
    Levenspiel, Chemical Reaction Engineering, 3rd ed., ch. 12 to 14 (vessels in series, compartment models,
    dispersion, tanks in series). van Genuchten and Wierenga (1976), Soil Sci. Soc. Am. J. 40:473 (mobile and
    immobile liquid; from memory).

    Examples
    --------
    >>> bed = Bed(height_m=0.2, bead_diameter_m=90e-6)
    >>> abs(transform(np.array([0j]), bed, run=Run(velocity_m_s=5e-4, temperature_k=293.15)))
    array([1.])
    """
    plates = dispersion.plates(bed, run=run)
    liquid = bed.liquid_cv(run.pore_access)
    rest = 1 - sum(path.share for path in bed.side_paths)
    mean = liquid / (rest + sum(path.share / path.relative_velocity for path in bed.side_paths))
    total = rest * _path(s, mean_cv=mean, plates=plates, bed=bed)
    for path in bed.side_paths:
        own = mean / path.relative_velocity
        total += path.share * _path(s, mean_cv=own, plates=plates / path.plate_ratio, bed=bed)
    for stirred in (*bed.mixed_volumes_cv, bed.gap_cv, lag_cv):
        if stirred:
            total /= 1 + s * stirred
    return total * np.exp(-s * bed.hold_up_cv) if bed.hold_up_cv else total


@dataclass(frozen=True, slots=True)
class Curve:
    """A step response on a fine grid, ready to be read at any volume.

    Attributes
    ----------
    fraction : ndarray
        Step response on 0, SPAN_CV / POINTS, ... [1].
    density_per_cv : ndarray
        Its derivative, the residence-time density [1/CV].
    """

    fraction: Array
    density_per_cv: Array

    def _cell(self, volume_cv: Array) -> tuple[NDArray[np.intp], Array, float]:
        step = SPAN_CV / POINTS
        at = np.clip(volume_cv / step, 0, POINTS - 1.000001)
        cell = at.astype(np.intp)
        return cell, at - cell, step

    def step(self, volume_cv: Array) -> Array:
        """Step response at these volumes [1]: 0 before the switch."""
        cell, t, step = self._cell(volume_cv)
        low, high = self.fraction[cell], self.fraction[cell + 1]
        rise_low, rise_high = step * self.density_per_cv[cell], step * self.density_per_cv[cell + 1]
        up = t * t * (3 - 2 * t)
        value = low + (high - low) * up + t * (1 - t) * ((1 - t) * rise_low - t * rise_high)
        value[volume_cv <= 0] = 0.0
        value[volume_cv >= SPAN_CV] = 1.0
        return value

    def pulse(self, volume_cv: Array, *, injected_cv: float) -> Array:
        """Mean density over a rectangular injection that starts at volume 0 [1/CV]."""
        passed: Array = self.step(volume_cv) - self.step(volume_cv - injected_cv)
        return passed / injected_cv


@lru_cache(maxsize=4)
def _frequencies(points: int, span_cv: float) -> Array:
    return np.asarray(2 * np.pi * np.fft.rfftfreq(points, span_cv / points), dtype=np.float64)


def curve(bed: Bed, *, run: Run, lag_cv: float = 0.0) -> Curve:
    """Step response of a bed on a fine grid, by inverting its transfer function.

    Parameters
    ----------
    bed : Bed
        The bed.
    run : Run
        How it is run.
    lag_cv : float
        First-order lag of the probe [CV].

    Returns
    -------
    Curve
        Response on 0 to 8 CV.

    Notes
    -----
    The Fourier series is integrated term by term, so that the response and its derivative agree. Valid up
    to about 20,000 plates (the grid is 0.002 CV) and for curves that end before 8 CV: what is
    left beyond appears at the start.

    Examples
    --------
    >>> bed = Bed(height_m=0.2, bead_diameter_m=90e-6)
    >>> slow = curve(bed, run=Run(velocity_m_s=5e-4, temperature_k=293.15))
    >>> round(float(slow.step(np.array([bed.retention_cv]))[0]), 2)
    0.51
    """
    omega = _frequencies(POINTS, SPAN_CV)
    spectrum = transform(np.asarray(1j * omega, dtype=np.complex128), bed, run=run, lag_cv=lag_cv)
    density = np.fft.irfft(spectrum, POINTS) * (POINTS / SPAN_CV)
    integral = np.zeros_like(spectrum)
    integral[1:] = spectrum[1:] / (1j * omega[1:])
    wave = np.fft.irfft(integral, POINTS) * (POINTS / SPAN_CV)
    fraction = wave - wave[0] + np.arange(POINTS) / POINTS
    return Curve(fraction=fraction, density_per_cv=density)


def step_response(volume_cv: Array, bed: Bed, *, run: Run, lag_cv: float = 0.0) -> Array:
    """Outlet fraction after a step at volume 0.

    Parameters
    ----------
    volume_cv : ndarray
        Volume since the switch [CV].
    bed : Bed
        The bed.
    run : Run
        How it is run.
    lag_cv : float
        First-order lag of the probe [CV].

    Returns
    -------
    ndarray
        Fraction of the step [1], rising from 0 to 1.

    Notes
    -----
    See `transform` for the model and `curve` for the numerical limits.

    References
    ----------
    Levenspiel, Chemical Reaction Engineering, 3rd ed., ch. 13.

    Examples
    --------
    >>> bed = Bed(height_m=0.2, bead_diameter_m=90e-6)
    >>> run = Run(velocity_m_s=5e-4, temperature_k=293.15)
    >>> step_response(np.array([0.0, 0.5, 2.0]), bed, run=run).round(3)
    array([0., 0., 1.])
    """
    return curve(bed, run=run, lag_cv=lag_cv).step(np.asarray(volume_cv, dtype=np.float64))


def pulse_response(volume_cv: Array, bed: Bed, *, run: Run, injected_cv: float, lag_cv: float = 0.0) -> Array:
    """Outlet density of a rectangular tracer injection that starts at volume 0.

    Parameters
    ----------
    volume_cv : ndarray
        Volume since the start of the injection [CV].
    bed : Bed
        The bed.
    run : Run
        How it is run.
    injected_cv : float
        Injected volume [CV]; above 0.
    lag_cv : float
        First-order lag of the probe [CV].

    Returns
    -------
    ndarray
        Density [1/CV], of area 1.

    Raises
    ------
    ValueError
        If the injected volume is not above 0.

    Notes
    -----
    The injection adds half its volume to the mean and its square over 12 to the variance.

    References
    ----------
    Levenspiel, Chemical Reaction Engineering, 3rd ed., ch. 13 (variances in series add).

    Examples
    --------
    >>> bed = Bed(height_m=0.2, bead_diameter_m=90e-6)
    >>> run = Run(velocity_m_s=1e-4, temperature_k=293.15)
    >>> volume = np.linspace(0, 2, 2001)
    >>> peak = pulse_response(volume, bed, run=run, injected_cv=0.01)
    >>> round(float(peak.sum() * 0.001), 6)
    1.0
    """
    if not injected_cv > 0:
        raise ValueError(f"injected_cv must be above 0, not {injected_cv!r}")
    grid = np.asarray(volume_cv, dtype=np.float64)
    return curve(bed, run=run, lag_cv=lag_cv).pulse(grid, injected_cv=injected_cv)
