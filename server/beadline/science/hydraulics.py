"""Pressure over a bed: what it should be, what it would be at reference conditions, what is left."""

from __future__ import annotations

import math
from dataclasses import dataclass

from beadline.science.estimates import Doubt, Estimate

COMMON_HARDWARE_RATING_PA = 3e5
"""Many process columns stop at 3 bar (common practice, no source). The nameplate decides."""

NARROW_MARGIN = 0.1


def blake_kozeny(
    *,
    velocity_m_s: float,
    viscosity_pa_s: float,
    bead_diameter_m: float,
    porosity: float,
    bed_height_m: float,
) -> float:
    """Pressure drop [Pa] of a bed of spheres in creeping flow, with the constant 150.

    Parameters
    ----------
    velocity_m_s : float
        Superficial velocity [m/s].
    viscosity_pa_s : float
        Viscosity [Pa s].
    bead_diameter_m : float
        Mean bead diameter [m].
    porosity : float
        Interstitial porosity, 0 to 1.
    bed_height_m : float
        Bed height [m].

    Raises
    ------
    ValueError
        If a value can't be.

    Notes
    -----
    For particle Reynolds numbers below about 1 and beds that keep their height. Beds of soft beads
    are compressed by the flow: then the drop rises faster than the velocity.

    References
    ----------
    Bird, Stewart, Lightfoot, Transport Phenomena, 2nd ed., eq. 6.4-9 (from memory).

    Examples
    --------
    >>> round(blake_kozeny(velocity_m_s=300 / 3.6e5, viscosity_pa_s=1.0016e-3, bead_diameter_m=90e-6,
    ...                    porosity=0.35, bed_height_m=0.2))
    30463
    """
    return 150 * _creep(velocity_m_s, viscosity_pa_s, bead_diameter_m, porosity, bed_height_m)


def kozeny_carman(
    *,
    velocity_m_s: float,
    viscosity_pa_s: float,
    bead_diameter_m: float,
    porosity: float,
    bed_height_m: float,
) -> float:
    """Pressure drop [Pa] with the constant 180; parameters and limits as for `blake_kozeny`.

    References
    ----------
    Carman, Trans. Inst. Chem. Eng. 15 (1937) 150 (from memory).

    Examples
    --------
    >>> round(kozeny_carman(velocity_m_s=300 / 3.6e5, viscosity_pa_s=1.0016e-3, bead_diameter_m=90e-6,
    ...                     porosity=0.35, bed_height_m=0.2))
    36556
    """
    return 180 * _creep(velocity_m_s, viscosity_pa_s, bead_diameter_m, porosity, bed_height_m)


def ergun(
    *,
    velocity_m_s: float,
    viscosity_pa_s: float,
    density_kg_m3: float,
    bead_diameter_m: float,
    porosity: float,
    bed_height_m: float,
) -> float:
    """Pressure drop [Pa] with the inertial term; parameters as for `blake_kozeny`, and density [kg/m3].

    References
    ----------
    Ergun, Chem. Eng. Prog. 48 (1952) 89 (from memory; agrees with an open library).

    Examples
    --------
    >>> round(ergun(velocity_m_s=300 / 3.6e5, viscosity_pa_s=1.0016e-3, density_kg_m3=998.2,
    ...             bead_diameter_m=90e-6, porosity=0.35, bed_height_m=0.2))
    30504
    """
    _positive(density_kg_m3=density_kg_m3)
    creep = 150 * _creep(velocity_m_s, viscosity_pa_s, bead_diameter_m, porosity, bed_height_m)
    inertia = 1.75 * density_kg_m3 * velocity_m_s**2 * (1 - porosity) / (bead_diameter_m * porosity**3)
    return creep + inertia * bed_height_m


def permeability(
    pressure_drop_pa: Estimate, *, velocity_m_s: float, viscosity_pa_s: Estimate, bed_height_m: float
) -> Estimate:
    """Permeability [m2] of the bed by Darcy's law, K = viscosity velocity height / pressure drop.

    Parameters
    ----------
    pressure_drop_pa : Estimate
        Drop over the bed alone [Pa], system taken off.
    velocity_m_s, viscosity_pa_s, bed_height_m : float or Estimate
        Superficial velocity [m/s], viscosity [Pa s], bed height [m].

    Raises
    ------
    ValueError
        If a value isn't above zero.

    Examples
    --------
    >>> found = permeability(Estimate(36556.0, 500.0), velocity_m_s=300 / 3.6e5,
    ...                      viscosity_pa_s=Estimate(1.0016e-3, 5e-6), bed_height_m=0.2)
    >>> round(found.value * 1e12, 3)
    4.567
    """
    _positive(
        pressure_drop_pa=pressure_drop_pa.value,
        velocity_m_s=velocity_m_s,
        viscosity_pa_s=viscosity_pa_s.value,
        bed_height_m=bed_height_m,
    )
    value = viscosity_pa_s.value * velocity_m_s * bed_height_m / pressure_drop_pa.value
    return Estimate(value, value * _relative(pressure_drop_pa, viscosity_pa_s))


def at_reference(
    pressure_drop_pa: Estimate,
    *,
    flow_m3_s: Estimate,
    viscosity_pa_s: Estimate,
    bed_height_m: float,
    reference_flow_m3_s: float,
    reference_viscosity_pa_s: float,
    reference_bed_height_m: float | None = None,
    system_drop_pa: Estimate | None = None,
) -> Estimate:
    """Pressure drop [Pa] that the bed would show at reference flow, viscosity and height: the trend input.

    Parameters
    ----------
    pressure_drop_pa : Estimate
        As measured [Pa].
    flow_m3_s, viscosity_pa_s : Estimate
        Flow [m3/s] and viscosity [Pa s] during the measurement.
    bed_height_m : float
        Bed height [m].
    reference_flow_m3_s, reference_viscosity_pa_s, reference_bed_height_m : float
        What it is corrected to; without a reference height, height isn't corrected.
    system_drop_pa : Estimate, optional
        Drop of tubing, filters and frits at the same flow and viscosity [Pa].

    Raises
    ------
    ValueError
        If a value isn't above zero, or the system takes all of the pressure.

    Notes
    -----
    Linear in flow, viscosity and height, as creeping flow in a rigid bed is. A compressed bed breaks
    this: compare only flows near the reference.

    Examples
    --------
    >>> cold = at_reference(Estimate(1.5e5, 1e3), flow_m3_s=Estimate(1e-4, 0.0),
    ...                     viscosity_pa_s=Estimate(1.518e-3, 0.0), bed_height_m=0.2,
    ...                     reference_flow_m3_s=1e-4, reference_viscosity_pa_s=1.0016e-3)
    >>> round(cold.value)
    98972
    """
    system = system_drop_pa or Estimate(0.0, 0.0)
    bed = Estimate(pressure_drop_pa.value - system.value, math.hypot(pressure_drop_pa.u, system.u))
    height = reference_bed_height_m if reference_bed_height_m is not None else bed_height_m
    _positive(
        pressure_drop_of_the_bed=bed.value,
        flow_m3_s=flow_m3_s.value,
        viscosity_pa_s=viscosity_pa_s.value,
        bed_height_m=bed_height_m,
        reference_flow_m3_s=reference_flow_m3_s,
        reference_viscosity_pa_s=reference_viscosity_pa_s,
        reference_bed_height_m=height,
    )
    flow, liquid = reference_flow_m3_s / flow_m3_s.value, reference_viscosity_pa_s / viscosity_pa_s.value
    value = bed.value * flow * liquid * height / bed_height_m
    return Estimate(value, value * _relative(bed, flow_m3_s, viscosity_pa_s))


@dataclass(frozen=True, slots=True)
class Margin:
    """What is left up to one limit.

    Attributes
    ----------
    name : {"packing pressure", "resin limit", "hardware rating"}
        Which limit.
    limit_pa, acting_pa : float
        The limit and the pressure that acts on it [Pa].
    left_pa : float
        Difference [Pa]; negative when the limit is passed.
    share : float
        Acting pressure as a share of the limit.
    """

    name: str
    limit_pa: float
    acting_pa: float
    left_pa: float
    share: float


@dataclass(frozen=True, slots=True)
class Margins:
    """All margins that could be worked out, with what to say of them."""

    margins: tuple[Margin, ...]
    doubts: tuple[Doubt, ...]


_PASSED = {
    "packing pressure": (
        "The bed runs above the pressure that it was packed at; it can settle and open a void on top."
    ),
    "resin limit": (
        "The drop over the bed is above what the resin stands; beads can be crushed and the bed lost."
    ),
    "hardware rating": (
        "The pressure is above the column's rating. Stop and lower it under the site's procedure."
    ),
}


def margins(
    *,
    inlet_pressure_pa: float,
    pressure_drop_pa: float,
    packing_pressure_pa: float | None = None,
    resin_limit_pa: float | None = None,
    hardware_rating_pa: float | None = None,
) -> Margins:
    """Operating pressure against packing pressure, resin limit and hardware rating.

    Parameters
    ----------
    inlet_pressure_pa : float
        Gauge pressure before the column [Pa]; it acts on the hardware.
    pressure_drop_pa : float
        Drop over the bed [Pa]; it acts on the bed and on the beads.
    packing_pressure_pa, resin_limit_pa, hardware_rating_pa : float, optional
        Limits [Pa]; those left out aren't looked at.

    Returns
    -------
    Margins
        Each margin, and a doubt for every limit passed or closer than a tenth.

    Raises
    ------
    ValueError
        If a pressure is negative or a limit isn't above zero.

    Notes
    -----
    Decision support. Pressure can hurt people: ratings, relief devices and site procedures decide.

    Examples
    --------
    >>> left = margins(inlet_pressure_pa=2.8e5, pressure_drop_pa=1.2e5, hardware_rating_pa=3e5)
    >>> [doubt.code for doubt in left.doubts]
    ['near_hardware_rating']
    """
    for name, value in (("inlet_pressure_pa", inlet_pressure_pa), ("pressure_drop_pa", pressure_drop_pa)):
        if not (math.isfinite(value) and value >= 0):
            raise ValueError(f"{name} must not be negative, got {value}")
    found, doubts = [], []
    for name, limit, acting in (
        ("packing pressure", packing_pressure_pa, pressure_drop_pa),
        ("resin limit", resin_limit_pa, pressure_drop_pa),
        ("hardware rating", hardware_rating_pa, inlet_pressure_pa),
    ):
        if limit is None:
            continue
        _positive(**{name.replace(" ", "_") + "_pa": limit})
        found.append(Margin(name, limit, acting, limit - acting, acting / limit))
        code = name.replace(" ", "_")
        if acting > limit:
            doubts.append(Doubt(f"above_{code}", _PASSED[name]))
        elif acting > (1 - NARROW_MARGIN) * limit:
            said = f"Only {1 - acting / limit:.0%} is left up to the {name} of {limit / 1e5:.2f} bar."
            doubts.append(Doubt(f"near_{code}", said))
    return Margins(tuple(found), tuple(doubts))


def _creep(velocity: float, viscosity: float, bead: float, porosity: float, height: float) -> float:
    _positive(velocity_m_s=velocity, viscosity_pa_s=viscosity, bead_diameter_m=bead, bed_height_m=height)
    if not 0 < porosity < 1:
        raise ValueError(f"porosity must lie between 0 and 1, got {porosity}")
    return viscosity * velocity * height * (1 - porosity) ** 2 / (bead**2 * porosity**3)


def _relative(*parts: Estimate) -> float:
    return math.sqrt(sum((part.u / part.value) ** 2 for part in parts))


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above 0, got {value}")
