"""Pressure over a bed: what it should be, what it would be at reference conditions, what is left."""

from beadline.science.hydraulics.correction import REFERENCE_TEMPERATURE_K, at_reference, permeability
from beadline.science.hydraulics.drops import blake_kozeny, ergun, kozeny_carman
from beadline.science.hydraulics.expected import POROSITY, POROSITY_RANGE, ExpectedDrop, expected_drop
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
    "POROSITY",
    "POROSITY_RANGE",
    "REFERENCE_TEMPERATURE_K",
    "ExpectedDrop",
    "Margin",
    "Margins",
    "at_reference",
    "blake_kozeny",
    "ergun",
    "expected_drop",
    "kozeny_carman",
    "margins",
    "permeability",
]
