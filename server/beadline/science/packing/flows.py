"""Velocity, flow and residence time."""

from __future__ import annotations

import math
from dataclasses import dataclass

from beadline.science import arguments


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
    arguments.positive(diameter_m=diameter_m, bed_height_m=bed_height_m)
    area = math.pi * diameter_m**2 / 4
    if velocity_m_s is None and flow_m3_s is not None:
        velocity_m_s = flow_m3_s / area
    elif velocity_m_s is None or flow_m3_s is not None:
        raise ValueError("give either velocity_m_s or flow_m3_s")
    arguments.positive(velocity_m_s=velocity_m_s)
    return Flow(velocity_m_s, velocity_m_s * area, bed_height_m / velocity_m_s, velocity_m_s / bed_height_m)
