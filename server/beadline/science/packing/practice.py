"""What common practice warns of; none of it has a source."""

from __future__ import annotations

from beadline.science.estimates import Doubt


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
