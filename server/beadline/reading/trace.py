"""What comes out of a file: signals over volume, and the marks of its steps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from beadline.reading.profile import Profile

Quantity = Literal["conductivity", "uv", "ph", "pressure", "flow", "temperature", "other"]
Role = Literal["pre", "post", "delta", ""]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Signal:
    """One recorded quantity over volume.

    Attributes
    ----------
    name : str
        The header as written in the file.
    quantity : Quantity
        What is measured.
    unit : str
        The unit as written, normalised ("mS/cm"); empty if there is none.
    volume_m3 : ndarray
        Volume since the trace's start [m^3], strictly rising; n values.
    values : ndarray
        n values in mS/cm, mAU, 1 (pH), Pa, m^3/s or K; "other" signals as written.
        NaN where the file has a gap.
    role : Role
        Whether the probe is before the column or behind it; "delta" is a pressure difference.
    """

    name: str
    quantity: Quantity
    unit: str
    volume_m3: Floats
    values: Floats
    role: Role = ""


@dataclass(frozen=True, slots=True)
class Mark:
    """A step or phase that starts here."""

    volume_m3: float
    name: str


@dataclass(frozen=True, slots=True)
class Started:
    """When a run started, as its file says.

    Attributes
    ----------
    moment : datetime
        Without a zone where the file names none: then it is the site's.
    source : str
        The place and the words in the file.
    day_only : bool
        True if the file tells the day but not the time of day.
    """

    moment: datetime
    source: str
    day_only: bool = False


@dataclass(frozen=True, slots=True)
class Trace:
    """A file, read.

    Attributes
    ----------
    signals : tuple of Signal
    marks : tuple of Mark
        In the order of volume.
    time_s, volume_m3 : ndarray or None
        The trace's own clock: time since its start [s] and the volume passed by then [m^3];
        None without a time axis.
    notes : tuple of str
        What was recognised and why, a sentence each.
    profile : Profile
        Reads the same file again without guessing.
    started : Started or None
        When the run started, where the file says so without a doubt.
    """

    signals: tuple[Signal, ...]
    marks: tuple[Mark, ...]
    time_s: Floats | None
    volume_m3: Floats | None
    notes: tuple[str, ...]
    profile: Profile
    started: Started | None = None
