"""From slurry to bed: heights, volumes, compression, flow."""

from __future__ import annotations

import math
from dataclasses import dataclass

from beadline.science import arguments
from beadline.science.estimates import Doubt, Estimate

COMPRESSION_RANGE = (1.0, 1.30)


@dataclass(frozen=True, slots=True)
class Plan:
    """What to weigh out and what to expect.

    Attributes
    ----------
    area_m2, bed_volume_m3 : float
        Cross section and packed bed volume, 1 CV.
    settled_volume_m3, settled_height_m : float
        The same bed settled by gravity.
    slurry_volume_m3 : Estimate
        Slurry to load.
    bed_height_m : Estimate
        Bed height with the uncertainty that the slurry concentration gives it.
    compression_percent : float
        100 (1 - 1/compression factor).
    doubts : tuple of Doubt
        What to think of before packing.
    """

    area_m2: float
    bed_volume_m3: float
    settled_volume_m3: float
    settled_height_m: float
    slurry_volume_m3: Estimate
    bed_height_m: Estimate
    compression_percent: float
    doubts: tuple[Doubt, ...]


def plan(
    *, diameter_m: float, bed_height_m: float, compression_factor: float, slurry_fraction: Estimate
) -> Plan:
    """Slurry for a bed height.

    Parameters
    ----------
    diameter_m, bed_height_m : float
        Inner diameter of the tube and height of the packed bed [m].
    compression_factor : float
        Gravity-settled height over packed height; 1.00 to 1.05 for rigid beads, 1.10 to 1.20 for soft
        ones (common practice).
    slurry_fraction : Estimate
        Settled bed in the slurry, 0 to 1.

    Raises
    ------
    ValueError
        If a value can't be.

    Examples
    --------
    >>> planned = plan(diameter_m=1.0, bed_height_m=0.2, compression_factor=1.15,
    ...                slurry_fraction=Estimate(0.5, 0.005))
    >>> round(planned.slurry_volume_m3.value * 1e3, 1), round(planned.bed_height_m.u * 1e3, 1)
    (361.3, 2.0)
    """
    arguments.positive(
        diameter_m=diameter_m, bed_height_m=bed_height_m, compression_factor=compression_factor
    )
    if compression_factor < 1:
        raise ValueError(f"compression_factor must be 1 or more, got {compression_factor}")
    if not 0 < slurry_fraction.value <= 1:
        raise ValueError(f"slurry_fraction must lie between 0 and 1, got {slurry_fraction.value}")
    area = math.pi * diameter_m**2 / 4
    bed = area * bed_height_m
    settled = bed * compression_factor
    slurry = settled / slurry_fraction.value
    relative = slurry_fraction.u / slurry_fraction.value
    return Plan(
        area_m2=area,
        bed_volume_m3=bed,
        settled_volume_m3=settled,
        settled_height_m=bed_height_m * compression_factor,
        slurry_volume_m3=Estimate(slurry, slurry * relative),
        bed_height_m=Estimate(bed_height_m, bed_height_m * relative),
        compression_percent=compression_percent(compression_factor),
        doubts=_of_compression(compression_factor),
    )


def bed_height(
    *, slurry_volume_m3: float, slurry_fraction: Estimate, compression_factor: float, diameter_m: float
) -> Estimate:
    """Bed height [m] that a slurry volume gives.

    Parameters
    ----------
    slurry_volume_m3 : float
        Slurry loaded [m3].
    slurry_fraction : Estimate
        Settled bed in it, 0 to 1.
    compression_factor : float
        Settled over packed volume.
    diameter_m : float
        Inner diameter [m].

    Raises
    ------
    ValueError
        If a value isn't above zero.

    Examples
    --------
    >>> round(bed_height(slurry_volume_m3=0.12, slurry_fraction=Estimate(0.55, 0.01), compression_factor=1.12,
    ...                  diameter_m=0.6).value, 4)
    0.2084
    """
    arguments.positive(
        slurry_volume_m3=slurry_volume_m3,
        slurry_fraction=slurry_fraction.value,
        compression_factor=compression_factor,
        diameter_m=diameter_m,
    )
    height = slurry_volume_m3 * slurry_fraction.value / compression_factor / (math.pi * diameter_m**2 / 4)
    return Estimate(height, height * slurry_fraction.u / slurry_fraction.value)


def compression_percent(compression_factor: float) -> float:
    """Compression as 100 (1 - 1/CF), the share of the settled height that is gone.

    Examples
    --------
    >>> round(compression_percent(1.15), 4)
    13.0435
    """
    arguments.positive(compression_factor=compression_factor)
    return 100 * (1 - 1 / compression_factor)


@dataclass(frozen=True, slots=True)
class Packed:
    """How far a bed was compressed.

    Attributes
    ----------
    compression_factor : float or None
        Gravity-settled height over final height.
    compression_percent : float or None
        100 (1 - 1/CF).
    packing_factor : float or None
        Height under packing flow over final height; not the same thing.
    doubts : tuple of Doubt
        What is unusual.
    """

    compression_factor: float | None
    compression_percent: float | None
    packing_factor: float | None
    doubts: tuple[Doubt, ...]


def packed(
    *,
    final_height_m: float,
    settled_height_m: float | None = None,
    consolidated_height_m: float | None = None,
) -> Packed:
    """Compression and packing factor from the heights in a packing record.

    Parameters
    ----------
    final_height_m : float
        Height between the adapters at the end [m].
    settled_height_m : float, optional
        Height settled by gravity [m].
    consolidated_height_m : float, optional
        Height under packing flow, before the adapter came down [m].

    Raises
    ------
    ValueError
        If a height isn't above zero.

    Examples
    --------
    >>> record = packed(final_height_m=0.2, settled_height_m=0.23, consolidated_height_m=0.224)
    >>> round(record.compression_factor, 2), round(record.packing_factor, 2)
    (1.15, 1.12)
    """
    arguments.positive(final_height_m=final_height_m)
    factor = percent = flow_factor = None
    doubts: tuple[Doubt, ...] = ()
    if settled_height_m is not None:
        arguments.positive(settled_height_m=settled_height_m)
        factor = settled_height_m / final_height_m
        percent = compression_percent(factor)
        doubts = _of_compression(factor)
    if consolidated_height_m is not None:
        arguments.positive(consolidated_height_m=consolidated_height_m)
        flow_factor = consolidated_height_m / final_height_m
        if flow_factor < 1:
            said = "The final bed is higher than it was under packing flow: it relaxed, or a height is wrong."
            doubts = (*doubts, Doubt("bed_relaxed", said))
    return Packed(factor, percent, flow_factor, doubts)


def _of_compression(factor: float) -> tuple[Doubt, ...]:
    low, high = COMPRESSION_RANGE
    if low <= factor <= high:
        return ()
    if factor < low:
        said = "The packed bed is higher than the settled one: it isn't consolidated, or a height is wrong."
    else:
        said = (
            f"A compression factor of {factor:.2f} is high: over-compression shows as fronting and pressure."
        )
    return (Doubt("compression_unusual", f"{said} (Common practice.)"),)
