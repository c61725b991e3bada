"""Pressure over a bed: what it should be, what it would be at reference conditions, what is left."""

from beadline.science.hydraulics.correction import at_reference, permeability
from beadline.science.hydraulics.drops import blake_kozeny, ergun, kozeny_carman
from beadline.science.hydraulics.limits import (
    COMMON_HARDWARE_RATING_PA,
    NARROW_MARGIN,
    Margin,
    Margins,
    margins,
)

__all__ = [
    "COMMON_HARDWARE_RATING_PA",
    "NARROW_MARGIN",
    "Margin",
    "Margins",
    "at_reference",
    "blake_kozeny",
    "ergun",
    "kozeny_carman",
    "margins",
    "permeability",
]
