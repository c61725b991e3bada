"""Packing arithmetic: slurry, compression, bed height, velocity; and what practice warns of."""

from beadline.science.packing.bed import (
    COMPRESSION_RANGE,
    Packed,
    Plan,
    bed_height,
    compression_percent,
    packed,
    plan,
)
from beadline.science.packing.flows import Flow, flow
from beadline.science.packing.practice import warnings
from beadline.science.packing.slurry import (
    CENTRIFUGED_OVER_SETTLED,
    SLURRY_RANGE,
    Slurry,
    liquid_to_add,
    slurry_concentration,
)

__all__ = [
    "CENTRIFUGED_OVER_SETTLED",
    "COMPRESSION_RANGE",
    "SLURRY_RANGE",
    "Flow",
    "Packed",
    "Plan",
    "Slurry",
    "bed_height",
    "compression_percent",
    "flow",
    "liquid_to_add",
    "packed",
    "plan",
    "slurry_concentration",
    "warnings",
]
