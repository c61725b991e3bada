"""Operating pressure against what bed, beads and hardware stand."""

from __future__ import annotations

import math
from dataclasses import dataclass

from beadline.science import arguments
from beadline.science.estimates import Doubt

COMMON_HARDWARE_RATING_PA = 3e5
"""Many process columns stop at 3 bar (common practice, no source). The nameplate decides."""

NARROW_MARGIN = 0.1


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
        arguments.positive(**{name.replace(" ", "_") + "_pa": limit})
        found.append(Margin(name, limit, acting, limit - acting, acting / limit))
        code = name.replace(" ", "_")
        if acting > limit:
            doubts.append(Doubt(f"above_{code}", _PASSED[name]))
        elif acting > (1 - NARROW_MARGIN) * limit:
            said = f"Only {1 - acting / limit:.0%} is left up to the {name} of {limit / 1e5:.2f} bar."
            doubts.append(Doubt(f"near_{code}", said))
    return Margins(tuple(found), tuple(doubts))
