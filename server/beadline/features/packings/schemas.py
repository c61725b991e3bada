"""A bed's geometry, as the science wants it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Bed:
    """What the computation needs to know of a packed bed, in SI units."""

    bed_volume_m3: float
    bed_height_m: float
    cross_section_m2: float
    bead_diameter_m: float
    hold_up_m3: float
    reference_flow_m3_s: float | None
