"""Refuse numbers that can't be what they are named."""

from __future__ import annotations

import math


def positive(**values: float) -> None:
    """Refuse the first value that isn't finite and above zero, by its name.

    Raises
    ------
    ValueError
        Naming the argument and its value.

    Examples
    --------
    >>> positive(bed_height_m=0.2)
    """
    for name, value in values.items():
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above 0, got {value}")
