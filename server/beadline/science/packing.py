"""Packing arithmetic: slurry, compression, bed height, velocity; and what practice warns of."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from beadline.science.estimates import Doubt, Estimate

CENTRIFUGED_OVER_SETTLED = Estimate(0.965, 0.01)
"""A centrifuged sample reads 2 to 5 % less bed than a settled one (common practice, no source)."""

SLURRY_RANGE = (0.40, 0.70)
COMPRESSION_RANGE = (1.0, 1.30)


@dataclass(frozen=True, slots=True)
class Slurry:
    """Share of gravity-settled bed in a slurry.

    Attributes
    ----------
    fraction : Estimate
        Settled volume over slurry volume.
    doubts : tuple of Doubt
        What to know about the number.
    """

    fraction: Estimate
    doubts: tuple[Doubt, ...]


def slurry_concentration(
    *,
    bed_m3: float,
    total_m3: float,
    method: Literal["settled", "centrifuged"],
    reading_u_m3: float = 0.0,
) -> Slurry:
    """Slurry concentration from a sample, as gravity-settled bed.

    Parameters
    ----------
    bed_m3, total_m3 : float
        Bed read in the cylinder or tube, and the whole sample [m3].
    method : {"settled", "centrifuged"}
        How the bed formed; a centrifuged one is brought to the settled scale.
    reading_u_m3 : float
        Standard uncertainty of reading the bed [m3].

    Raises
    ------
    ValueError
        If the volumes can't be, or the method is unknown.

    Examples
    --------
    >>> slurry_concentration(bed_m3=62e-6, total_m3=100e-6, method="settled").fraction.value
    0.62
    """
    _positive(bed_m3=bed_m3, total_m3=total_m3)
    if bed_m3 > total_m3:
        raise ValueError(f"bed_m3 must not be above total_m3, got {bed_m3} of {total_m3}")
    if method not in ("settled", "centrifuged"):
        raise ValueError(f"method must be settled or centrifuged, got {method!r}")
    share, u = bed_m3 / total_m3, reading_u_m3 / total_m3
    doubts = []
    if method == "centrifuged":
        factor = CENTRIFUGED_OVER_SETTLED
        u = math.hypot(u, share * factor.u / factor.value) / factor.value
        share = share / factor.value
        said = "A centrifuged sample reads 2 to 5 % less bed than a settled one; keep to one method."
        doubts.append(Doubt("centrifuged_sample", said))
    if not SLURRY_RANGE[0] <= share <= SLURRY_RANGE[1]:
        said = f"A slurry of {share:.0%} is outside the usual 40 to 70 % (common practice)."
        if share < SLURRY_RANGE[0]:
            said += " A thin slurry lets beads sort by size and shows as fronting."
        doubts.append(Doubt("slurry_unusual", said))
    return Slurry(Estimate(share, u), tuple(doubts))


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
    _positive(diameter_m=diameter_m, bed_height_m=bed_height_m, compression_factor=compression_factor)
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
    _positive(
        slurry_volume_m3=slurry_volume_m3,
        slurry_fraction=slurry_fraction.value,
        compression_factor=compression_factor,
        diameter_m=diameter_m,
    )
    height = slurry_volume_m3 * slurry_fraction.value / compression_factor / (math.pi * diameter_m**2 / 4)
    return Estimate(height, height * slurry_fraction.u / slurry_fraction.value)


def liquid_to_add(*, slurry_volume_m3: float, slurry_fraction: float, target_fraction: float) -> float:
    """Liquid [m3] that brings a slurry to a concentration; negative: decant as much.

    Raises
    ------
    ValueError
        If a value isn't above zero.

    Examples
    --------
    >>> round(liquid_to_add(slurry_volume_m3=0.3, slurry_fraction=0.62, target_fraction=0.5), 4)
    0.072
    """
    _positive(
        slurry_volume_m3=slurry_volume_m3, slurry_fraction=slurry_fraction, target_fraction=target_fraction
    )
    return slurry_volume_m3 * (slurry_fraction / target_fraction - 1)


def compression_percent(compression_factor: float) -> float:
    """Compression as 100 (1 - 1/CF), the share of the settled height that is gone.

    Examples
    --------
    >>> round(compression_percent(1.15), 4)
    13.0435
    """
    _positive(compression_factor=compression_factor)
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
    _positive(final_height_m=final_height_m)
    factor = percent = flow_factor = None
    doubts: tuple[Doubt, ...] = ()
    if settled_height_m is not None:
        _positive(settled_height_m=settled_height_m)
        factor = settled_height_m / final_height_m
        percent = compression_percent(factor)
        doubts = _of_compression(factor)
    if consolidated_height_m is not None:
        _positive(consolidated_height_m=consolidated_height_m)
        flow_factor = consolidated_height_m / final_height_m
        if flow_factor < 1:
            said = "The final bed is higher than it was under packing flow: it relaxed, or a height is wrong."
            doubts = (*doubts, Doubt("bed_relaxed", said))
    return Packed(factor, percent, flow_factor, doubts)


@dataclass(frozen=True, slots=True)
class Flow:
    """One flow in the units that people pack by.

    Attributes
    ----------
    velocity_m_s, flow_m3_s : float
        Superficial velocity and flow.
    residence_time_s : float
        Time that the liquid takes for one empty-tube volume.
    cv_per_s : float
        Column volumes a second.
    """

    velocity_m_s: float
    flow_m3_s: float
    residence_time_s: float
    cv_per_s: float


def flow(
    *,
    diameter_m: float,
    bed_height_m: float,
    velocity_m_s: float | None = None,
    flow_m3_s: float | None = None,
) -> Flow:
    """Velocity, flow and residence time, from either velocity or flow.

    Raises
    ------
    ValueError
        Unless exactly one of them is given and all are above zero.

    Examples
    --------
    >>> run = flow(diameter_m=1.0, bed_height_m=0.2, velocity_m_s=300 / 3.6e5)
    >>> round(run.flow_m3_s * 3.6e6, 1), round(run.residence_time_s / 60, 6)
    (2356.2, 4.0)
    """
    _positive(diameter_m=diameter_m, bed_height_m=bed_height_m)
    area = math.pi * diameter_m**2 / 4
    if velocity_m_s is None and flow_m3_s is not None:
        velocity_m_s = flow_m3_s / area
    elif velocity_m_s is None or flow_m3_s is not None:
        raise ValueError("give either velocity_m_s or flow_m3_s")
    _positive(velocity_m_s=velocity_m_s)
    return Flow(velocity_m_s, velocity_m_s * area, bed_height_m / velocity_m_s, velocity_m_s / bed_height_m)


def warnings(
    *,
    packed_in_water: bool = False,
    feed_is_viscous_or_conductive: bool = False,
    axial_compression: bool = False,
    resin_swells: bool = False,
    packing_pressure_pa: float | None = None,
    operating_pressure_pa: float | None = None,
    hardware_rating_pa: float | None = None,
) -> tuple[Doubt, ...]:
    """What common practice warns of before and after packing; none of it has a source.

    Parameters
    ----------
    packed_in_water, feed_is_viscous_or_conductive, axial_compression, resin_swells : bool
        What applies to this packing.
    packing_pressure_pa, operating_pressure_pa : float, optional
        Drop over the bed while packing and in use [Pa].
    hardware_rating_pa : float, optional
        Rating on the nameplate [Pa].

    Examples
    --------
    >>> [w.code for w in warnings(packing_pressure_pa=2e5, operating_pressure_pa=2.5e5)]
    ['above_packing_pressure', 'rating_unknown']
    """
    above = (
        packing_pressure_pa is not None
        and operating_pressure_pa is not None
        and operating_pressure_pa > packing_pressure_pa
    )
    applies = {
        "packed_in_water": packed_in_water,
        "above_packing_pressure": above,
        "feed_shrinks_bed": feed_is_viscous_or_conductive,
        "over_compression": axial_compression,
        "bed_moves": resin_swells,
        "rating_unknown": hardware_rating_pa is None,
    }
    return tuple(
        Doubt(code, f"{_WARNINGS[code]} (Common practice.)") for code, holds in applies.items() if holds
    )


_WARNINGS = {
    "packed_in_water": "Pack in the most extreme conditions that the resin will see, not in water.",
    "above_packing_pressure": (
        "Operating pressure above packing pressure opens voids: pack at the higher pressure."
    ),
    "feed_shrinks_bed": (
        "A viscous or more conductive feed shrinks the bed: expect a gap on top, lower the adapter."
    ),
    "over_compression": "Dynamic axial compression can over-compress the bed; it shows as fronting.",
    "bed_moves": (
        "Beds of swelling resins move by 10 to 20 % between liquids: leave room, test in the liquid of use."
    ),
    "rating_unknown": (
        "Hardware commonly stops at 3 bar: read the nameplate, keep below it, follow the site's procedure."
    ),
}


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


def _positive(**values: float) -> None:
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above 0, got {value}")
