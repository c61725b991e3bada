"""How a healthy bed and its skid vary from cycle to cycle."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from beadline.science.bed_model.bed import Bed

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spread:
    """Relative standard deviations of a bed's life in control, and their autocorrelation.

    Attributes
    ----------
    plate : float
        Plate height of the evenly packed part [1].
    mixing : float
        Stirred volumes of the skid [1].
    volume : float
        Recorded over true volume, from flow meter and temperature [1].
    permeability : float
        Resistance to flow [1].
    phi : float
        Correlation of a cycle with the next [1].

    Notes
    -----
    The defaults make moment HETP vary by about 3 %, asymmetry by 2 to 4 % with measurement noise, and the
    mean by about 0.5 %: common practice on well-run columns, no source.
    """

    plate: float = 0.02
    mixing: float = 0.07
    volume: float = 0.0045
    permeability: float = 0.02
    phi: float = 0.3


@dataclass(frozen=True, slots=True)
class Variation:
    """Factors of one cycle; each is 1 on the average."""

    plate: float = 1.0
    mixing: float = 1.0
    volume: float = 1.0
    permeability: float = 1.0


def autoregressive(rng: np.random.Generator, *, count: int, phi: float, sd: float) -> Array:
    """Draw a stationary first-order autoregressive series.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    count : int
        Length of the series.
    phi : float
        Correlation of a value with the next [1]; between -1 and 1.
    sd : float
        Standard deviation of the series.

    Returns
    -------
    ndarray
        The series, of mean 0.

    Raises
    ------
    ValueError
        If phi is not between -1 and 1.

    Notes
    -----
    The first value already has the standard deviation of the series; a longer series starts like a shorter
    one drawn from the same generator state.

    Examples
    --------
    >>> series = autoregressive(np.random.default_rng(1), count=20000, phi=0.3, sd=2.0)
    >>> round(float(series.std()), 1)
    2.0
    """
    if not -1 < phi < 1:
        raise ValueError(f"phi must be between -1 and 1, not {phi!r}")
    shocks = rng.standard_normal(count) * sd
    shocks[1:] *= np.sqrt(1 - phi**2)
    series = accumulate(shocks.tolist(), lambda before, shock: phi * before + shock)
    return np.fromiter(series, dtype=np.float64, count=count)


def vary(rng: np.random.Generator, *, cycles: int, spread: Spread) -> tuple[Variation, ...]:
    """Draw the cycle-to-cycle factors of a bed's life in control.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    cycles : int
        Number of cycles.
    spread : Spread
        How much they vary.

    Returns
    -------
    tuple of Variation
        One a cycle.

    Notes
    -----
    Each factor is the exponential of its own autoregressive series, from its own child of the generator, so
    that a longer life starts like a shorter one.

    Examples
    --------
    >>> len(vary(np.random.default_rng(1), cycles=3, spread=Spread()))
    3
    """
    sizes = (spread.plate, spread.mixing, spread.volume, spread.permeability)
    series = [
        np.exp(autoregressive(child, count=cycles, phi=spread.phi, sd=sd))
        for child, sd in zip(rng.spawn(len(sizes)), sizes, strict=True)
    ]
    return tuple(Variation(*map(float, factors)) for factors in zip(*series, strict=True))


def varied(bed: Bed, variation: Variation) -> Bed:
    """Bed as it is in one cycle.

    Examples
    --------
    >>> varied(Bed(height_m=0.2, bead_diameter_m=9e-5), Variation(plate=1.1)).plate_factor
    1.1
    """
    return replace(
        bed,
        plate_factor=bed.plate_factor * variation.plate,
        mixed_volumes_cv=tuple(volume * variation.mixing for volume in bed.mixed_volumes_cv),
    )
