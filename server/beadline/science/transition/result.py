"""What the reading of one transition gives back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from beadline.science.estimates import Doubt, Estimate
from beadline.science.transition.settings import Settings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class TransitionResult:
    """One transition read: numbers, the curve, the doubts, and the working.

    Attributes
    ----------
    method, version : str
        Stored name of the method and its version.
    settings : Settings
        The choices it was read with.
    usable : bool
        False: not to be charted.
    estimates : mapping of str to Estimate
        Stored metric name to value and standard uncertainty; only what the trace supports.
    withheld : mapping of str to str
        Stored metric name to the plain reason why there is no value.
    doubts : tuple of Doubt
        What was seen that weakens the result.
    window_cv : tuple of float
        The part of the record that was read [CV].
    direction : {"up", "down"}
        Which way the signal went.
    grid_cv, fraction, density_per_cv : ndarray
        The cleaned, normalised curve and its derivative on the fixed grid. All zero when there is no step.
    working : mapping of str to float or list
        Intermediate values, for the page that shows how the numbers came about.
    """

    method: str
    version: str
    settings: Settings
    usable: bool
    estimates: Mapping[str, Estimate]
    withheld: Mapping[str, str]
    doubts: tuple[Doubt, ...]
    window_cv: tuple[float, float]
    direction: Literal["up", "down"]
    grid_cv: Array
    fraction: Array
    density_per_cv: Array
    working: Mapping[str, float | list[float]]
