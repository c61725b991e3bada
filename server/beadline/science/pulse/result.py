"""What the reading of a pulse test gives back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.estimates import Doubt, Estimate
from beadline.science.pulse.settings import Settings

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class SystemBroadening:
    """What injector, tubing and detector add, from the same test with the bed by-passed.

    Attributes
    ----------
    mean_m3 : Estimate
        Mean volume of the by-pass peak, injection already taken off [m3].
    variance_m6 : Estimate
        Its variance, injection already taken off [m6].
    """

    mean_m3: Estimate
    variance_m6: Estimate


@dataclass(frozen=True, slots=True, eq=False)
class PulseResult:
    """One pulse test read: numbers as measured, numbers of the bed alone, doubts, and the working.

    Attributes
    ----------
    method, version : str
        Stored name of the method and its version.
    settings : Settings
        The choices it was read with.
    usable : bool
        False: nothing can be said about the bed.
    estimates : mapping of str to Estimate
        Stored metric name to value and standard uncertainty, as measured.
    corrected : mapping of str to Estimate
        The same metrics with the injection and the system taken off; empty when neither was given.
    withheld : mapping of str to str
        Stored metric name to the plain reason why there is no value.
    doubts : tuple of Doubt
        What was seen that weakens the test.
    working : mapping of str to float or list of float
        Every intermediate value that is needed to draw the constructions.
    curve_volume_m3, curve_signal, curve_fit : ndarray
        The cleaned record, upright and without its baseline, and the fitted peak; empty without a peak.
    """

    method: str
    version: str
    settings: Settings
    usable: bool
    estimates: Mapping[str, Estimate]
    corrected: Mapping[str, Estimate]
    withheld: Mapping[str, str]
    doubts: tuple[Doubt, ...]
    working: Mapping[str, float | list[float]]
    curve_volume_m3: Array
    curve_signal: Array
    curve_fit: Array
