"""Plate height of a bed from reduced velocity, with the properties of water that it needs."""

from __future__ import annotations

import math

from beadline.science.bed_model.bed import Bed, Run

# IAPWS SR6-08 (2011), liquid water at 0.1 MPa: coefficients in micropascal seconds, and exponents.
_VISCOSITY_TERMS = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))


def water_viscosity(temperature_k: float) -> float:
    """Viscosity of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature_k : float
        Temperature [K].

    Returns
    -------
    float
        Viscosity [Pa s].

    Raises
    ------
    ValueError
        Outside 253.15 to 383.15 K, where the equation does not hold.

    Notes
    -----
    Valid from 253.15 K (undercooled) to 383.15 K.

    References
    ----------
    IAPWS SR6-08 (2011), Revised Supplementary Release on Properties of Liquid Water at 0.1 MPa.

    Examples
    --------
    >>> round(water_viscosity(298.15) * 1e3, 6)
    0.889997
    """
    if not 253.15 <= temperature_k <= 383.15:
        raise ValueError(f"temperature_k must be 253.15 to 383.15, not {temperature_k!r}")
    ratio = temperature_k / 300.0
    return 1e-6 * math.fsum(factor * math.pow(ratio, power) for factor, power in _VISCOSITY_TERMS)


def diffusivity(run: Run) -> float:
    """Diffusivity of the tracer at the run's temperature and viscosity.

    Parameters
    ----------
    run : Run
        How the bed is run.

    Returns
    -------
    float
        Diffusivity [m2/s].

    Notes
    -----
    Stokes-Einstein: D is proportional to temperature over viscosity; within a few per cent for small
    tracers in water from 0 to 60 °C (rule from memory).

    Examples
    --------
    >>> diffusivity(Run(velocity_m_s=1e-4, temperature_k=298.15))
    1.5e-09
    """
    thinner = water_viscosity(298.15) / (water_viscosity(run.temperature_k) * run.relative_viscosity)
    return run.diffusivity_25c_m2_s * run.temperature_k / 298.15 * thinner


def plate_height(bed: Bed, *, run: Run) -> float:
    """Plate height of the evenly packed part of a bed.

    Parameters
    ----------
    bed : Bed
        The bed.
    run : Run
        How it is run.

    Returns
    -------
    float
        Height equivalent to a theoretical plate [m].

    Notes
    -----
    Reduced plate height h = A v^(1/3) + B/v + C v with v = u d_p / (voidage D), u superficial. Process
    beds run at v of 20 to 1000, right of the minimum: h rises with flow and falls with temperature.

    References
    ----------
    Knox's equation, as described at http://chromatography-online.org/Alternative-Equations/Knox/rs_9_68.php

    Examples
    --------
    >>> bed = Bed(height_m=0.2, bead_diameter_m=90e-6)
    >>> round(plate_height(bed, run=Run(velocity_m_s=200 / 360000, temperature_k=298.15)) * 1e3, 3)
    0.317
    """
    speed = run.velocity_m_s / bed.packed_voidage * bed.bead_diameter_m / diffusivity(run)
    reduced = bed.eddy * math.pow(speed, 1 / 3) + bed.diffusion / speed + bed.transfer * speed
    return bed.plate_factor * reduced * bed.bead_diameter_m


def plates(bed: Bed, *, run: Run) -> float:
    """Number of plates of the evenly packed part of a bed.

    Examples
    --------
    >>> bed = Bed(height_m=0.2, bead_diameter_m=90e-6)
    >>> round(plates(bed, run=Run(velocity_m_s=200 / 360000, temperature_k=298.15)))
    631
    """
    return bed.packed_height_m / plate_height(bed, run=run)
