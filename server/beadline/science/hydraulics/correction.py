"""Measured pressure brought to reference conditions."""

from __future__ import annotations

import math

from beadline.science import arguments
from beadline.science.estimates import Estimate

REFERENCE_TEMPERATURE_K = 293.15
"""Pressure drops are brought to water at 20 °C."""


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
    arguments.positive(
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
    arguments.positive(
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


def _relative(*parts: Estimate) -> float:
    return math.sqrt(sum((part.u / part.value) ** 2 for part in parts))
