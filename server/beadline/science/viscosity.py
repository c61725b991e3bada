"""Viscosity of the liquids that run through a bed: water, salt, ethanol, caustic."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from beadline.science.estimates import Estimate

Solute = Literal["sodium chloride", "ammonium sulfate", "ethanol", "sodium hydroxide"]

_WATER = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))

# Laliberte's six constants and the highest mass fraction that they are used for here
_FITS: dict[str, tuple[tuple[float, ...], float, float]] = {
    "sodium chloride": (
        (16.2217886334, 1.3229308677, 1.484859850104, 0.007469125596574, 30.78020075406, 2.058268523226),
        0.26,
        0.02,
    ),
    "ammonium sulfate": (
        (11.96842221231, 2.605921452912, 1.908301282131, 0.007312916012293, 141.4593406218, 6.778378485746),
        0.40,
        0.03,
    ),
    "ethanol": (
        (
            -28.75531005411,
            0.1972332631796,
            32.16578678084,
            0.007163035307955,
            16.41720508494,
            -1.890886078892,
        ),
        0.60,
        0.05,
    ),
}

# relative viscosity of caustic near 20 C by mass fraction: Jones-Dole up to 1 mol/L (0.0385), then Laliberte
_CAUSTIC = ((0.0, 0.00399, 0.0196, 0.0385, 0.1, 0.2), (1.0, 1.0225, 1.1072, 1.212, 1.7743, 4.661))
_CAUSTIC_U = 0.05

# mass per cent of ethanol in water by per cent of volume at 20 C
_ETHANOL_BY_VOLUME = (
    (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7),
    (0.0, 0.0801, 0.1621, 0.2461, 0.3330, 0.4243, 0.5209, 0.6239),
)


def water(*, temperature_k: float) -> Estimate:
    """Viscosity of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature_k : float
        Temperature [K]; 273.15 to 373.15.

    Returns
    -------
    Estimate
        Viscosity [Pa s]; 1 % wide at 2 u, as the release states.

    Raises
    ------
    ValueError
        If the temperature is outside the range.

    References
    ----------
    IAPWS SR6-08 (2011), supplementary release on liquid water at 0.1 MPa.

    Examples
    --------
    >>> round(water(temperature_k=298.15).value * 1e3, 6)
    0.889997
    """
    if not 273.15 <= temperature_k <= 373.15:
        raise ValueError(f"temperature_k must lie between 273.15 and 373.15, got {temperature_k}")
    value = 1e-6 * sum(a * (temperature_k / 300) ** b for a, b in _WATER)
    return Estimate(value, 0.005 * value)


def solution(solute: Solute, *, mass_fraction: float, temperature_k: float) -> Estimate:
    """Viscosity of an aqueous solution.

    Parameters
    ----------
    solute : {"sodium chloride", "ammonium sulfate", "ethanol", "sodium hydroxide"}
        What is dissolved.
    mass_fraction : float
        Its share of the mass; up to 0.26, 0.40, 0.60 and 0.20.
    temperature_k : float
        Temperature [K]; 273.15 to 323.15.

    Returns
    -------
    Estimate
        Viscosity [Pa s].

    Raises
    ------
    ValueError
        If the solute is unknown or a value is outside its range.

    Notes
    -----
    Salt and ethanol by Laliberte's equation. That fit fails for dilute caustic, so caustic is
    interpolated in a table of relative viscosities at 20 C, which change little with temperature.

    References
    ----------
    Laliberte, J. Chem. Eng. Data 52 (2007) 321 and 54 (2009) 1725, constants as tabulated in an open
    library of physical properties; Jones-Dole coefficients for caustic from memory.

    Examples
    --------
    >>> round(solution("ethanol", mass_fraction=0.1631, temperature_k=293.15).value * 1e3, 3)
    2.026
    """
    if not 273.15 <= temperature_k <= 323.15:
        raise ValueError(f"temperature_k must lie between 273.15 and 323.15, got {temperature_k}")
    if solute == "sodium hydroxide":
        return _caustic(mass_fraction, temperature_k)
    if solute not in _FITS:
        raise ValueError(f"solute must be one of {', '.join(_FITS)}, sodium hydroxide; got {solute!r}")
    constants, highest, share = _FITS[solute]
    _within(mass_fraction, highest, solute)
    celsius = temperature_k - 273.15
    v1, v2, v3, v4, v5, v6 = constants
    alone = 1e-3 * (celsius + 246) / ((0.05594 * celsius + 5.2842) * celsius + 137.37)
    if mass_fraction == 0:
        return Estimate(alone, 0.01 * alone)
    part = 1e-3 * math.exp((v1 * mass_fraction**v2 + v3) / (v4 * celsius + 1)) / (v5 * mass_fraction**v6 + 1)
    value = alone ** (1 - mass_fraction) * part**mass_fraction
    return Estimate(value, share * value)


def ethanol_mass_fraction(volume_fraction: float) -> float:
    """Mass fraction of an ethanol-water mixture from its strength by volume at 20 C.

    Parameters
    ----------
    volume_fraction : float
        Strength by volume, 0 to 0.7.

    Raises
    ------
    ValueError
        If it is outside the table.

    References
    ----------
    International alcoholometric tables (values from memory), interpolated; within 0.001.

    Examples
    --------
    >>> ethanol_mass_fraction(0.2)
    0.1621
    """
    if not 0 <= volume_fraction <= 0.7:
        raise ValueError(f"volume_fraction must lie between 0 and 0.7, got {volume_fraction}")
    return float(np.interp(volume_fraction, *_ETHANOL_BY_VOLUME))


def _caustic(mass_fraction: float, temperature_k: float) -> Estimate:
    _within(mass_fraction, 0.2, "sodium hydroxide")
    shares, relative = _CAUSTIC
    value = (
        float(np.exp(np.interp(mass_fraction, shares, np.log(relative))))
        * water(temperature_k=temperature_k).value
    )
    return Estimate(value, _CAUSTIC_U * value)


def _within(mass_fraction: float, highest: float, solute: str) -> None:
    if not 0 <= mass_fraction <= highest:
        raise ValueError(f"mass_fraction of {solute} must lie between 0 and {highest}, got {mass_fraction}")
