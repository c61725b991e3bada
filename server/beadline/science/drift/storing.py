"""How standardised values and readings are kept in a state: compact, and the same to the last digit."""

from __future__ import annotations

import base64
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift.reading import Reading
from beadline.science.estimates import Estimate

Floats = NDArray[np.float64]
PER_SD = 100.0
LARGEST_SD = 320.0


def rounded(z: Floats) -> Floats:
    """Hundredths of a standard deviation, so that stored and running numbers are the same."""
    whole: Floats = np.rint(np.clip(z, -LARGEST_SD, LARGEST_SD) * PER_SD) / PER_SD
    return whole


_MISSING = -32768


def packed(table: Floats) -> str:
    """Hundredths as text; values are at most 320 standard deviations."""
    whole = np.where(np.isnan(table), _MISSING, np.rint(np.nan_to_num(table) * PER_SD))
    return base64.b64encode(np.asarray(whole, "<i2").tobytes()).decode("ascii")


def unpacked(text: str, width: int) -> Floats:
    """Rows of standardised values back from text."""
    whole = np.frombuffer(base64.b64decode(text), "<i2").reshape(-1, width).astype(float)
    return np.where(whole == _MISSING, np.nan, whole / PER_SD)


def packed_exactly(table: Floats) -> str:
    """Numbers as text, to the last digit."""
    return base64.b64encode(np.asarray(table, "<f8").tobytes()).decode("ascii")


def unpacked_exactly(text: str) -> Floats:
    """The numbers back from text, in one row."""
    return np.frombuffer(base64.b64decode(text), "<f8").astype(float)


def plain_reading(reading: Reading) -> dict[str, Any]:
    """A cycle of an unfinished baseline as plain values."""
    values = {key: [e.value, e.u] for key, e in reading.values.items()}
    curves = {name: np.asarray(curve, float).tolist() for name, curve in reading.curves.items()}
    return {"cycle": reading.cycle, "values": values, "curves": curves}


def stored_reading(plain: Mapping[str, Any]) -> Reading:
    """The cycle back from plain values."""
    values = {key: Estimate(*pair) for key, pair in plain["values"].items()}
    return Reading(plain["cycle"], values, {name: np.array(c) for name, c in plain["curves"].items()})
