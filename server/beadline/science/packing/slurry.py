"""How much resin a slurry holds."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from beadline.science import arguments
from beadline.science.estimates import Doubt, Estimate

CENTRIFUGED_OVER_SETTLED = Estimate(0.965, 0.01)
"""A centrifuged sample reads 2 to 5 % less bed than a settled one (common practice, no source)."""

SLURRY_RANGE = (0.40, 0.70)


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
    arguments.positive(bed_m3=bed_m3, total_m3=total_m3)
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
    arguments.positive(
        slurry_volume_m3=slurry_volume_m3, slurry_fraction=slurry_fraction, target_fraction=target_fraction
    )
    return slurry_volume_m3 * (slurry_fraction / target_fraction - 1)
