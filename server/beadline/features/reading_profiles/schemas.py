"""Reading profiles, as the rest of the server sees them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from beadline.reading import Profile

# by quantity: unit on screen, and what a value is multiplied with and raised by to be in it
SHOWN: Mapping[str, tuple[str, float, float]] = {
    "conductivity": ("mS/cm", 1.0, 0.0),
    "uv": ("mAU", 1.0, 0.0),
    "ph": ("pH", 1.0, 0.0),
    "pressure": ("bar", 1e-5, 0.0),
    "flow": ("L/h", 3.6e6, 0.0),
    "temperature": ("°C", 1.0, -273.15),
}


@dataclass(frozen=True, slots=True)
class Saved:
    """A version of a reading profile that can read a file.

    Attributes
    ----------
    id : int
        Of the version.
    name : str
    version : int
    profile : Profile
    """

    id: int
    name: str
    version: int
    profile: Profile

    @property
    def label(self) -> str:
        """The words for it in a sentence."""
        return f"reading profile “{self.name}”, version {self.version}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """A reading profile in a list: its newest version, and how many runs its versions have read."""

    id: int
    name: str
    version: int
    profile: Profile
    runs: int
    made_at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedSignal:
    """A signal as a profile reads it; numbers as words, in `unit`."""

    name: str
    quantity: str
    side: str
    unit: str
    points: int
    lowest: str
    highest: str
    from_l: str
    to_l: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """What comes out of a file that is read by a profile."""

    filename: str
    signals: tuple[TriedSignal, ...]
    marks: tuple[str, ...]
    notes: tuple[str, ...]
    started: str
