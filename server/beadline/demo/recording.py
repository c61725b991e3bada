"""What a skid records: signals over volume, with the phases' names."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Recording:
    """A run as arrays, before any file layout.

    Attributes
    ----------
    title, started_at, column, batch
        What a file's first lines say.
    volume_l : ndarray
        Recorded volume at each row [L].
    time_s : ndarray
        Time since the start [s].
    phase : tuple of str
        Name of the phase at each row.
    signals : mapping
        "conductivity" [mS/cm], "uv" [mAU], "ph", "pre", "post" [bar], "flow" [L/h], "temperature" [°C];
        NaN where a value is missing.
    """

    title: str
    started_at: datetime
    column: str
    batch: str
    volume_l: Array
    time_s: Array
    phase: tuple[str, ...]
    signals: Mapping[str, Array]

    def mark_rows(self) -> list[int]:
        """Rows at which a phase begins."""
        return [i for i, name in enumerate(self.phase) if i == 0 or name != self.phase[i - 1]]


@dataclass(frozen=True, slots=True)
class TraceFile:
    """A file as a skid writes it."""

    filename: str
    content: bytes
