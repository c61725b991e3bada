"""Other noise for a copy: it must not compress better, nor look more alike, than another run would."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence

import numpy as np
from tests.fleet.true_rows import Row

CURVE_NOISE = 1e-3  # of a step, and of a density per CV
DRIFT_NOISE = 0.3  # baseline standard deviations


def move(table: str, row: Row, chance: np.random.Generator) -> None:
    """Move what was measured in a row of that table."""
    if table == "transitions":
        row["estimates"] = {key: _near(pair, chance) for key, pair in row["estimates"].items()}
        for curve in ("fraction", "density_per_cv"):
            if row[curve] is not None:
                row[curve] = row[curve] + chance.normal(0.0, CURVE_NOISE, len(row[curve]))
    elif table == "traces":
        row["content"] = other_noise(row["content"], chance)
        row["sha256"] = hashlib.sha256(row["content"]).hexdigest()
    elif table == "cycles":
        row["signals_sha256"] = chance.bytes(32).hex()
    elif table == "bed_states":
        row["beads"] = [[number, _moved(drift, chance), kind] for number, drift, kind in row["beads"]]


def _near(pair: Sequence[float], chance: np.random.Generator) -> list[float]:
    value, uncertainty = pair
    return [value + uncertainty * float(chance.normal()), uncertainty]


def _moved(drift: float | None, chance: np.random.Generator) -> float | None:
    return None if drift is None else round(drift + DRIFT_NOISE * float(chance.normal()), 3)


def other_noise(content: bytes, chance: np.random.Generator) -> bytes:
    """Draw the last decimal of every number in a table with decimal points anew."""
    letters = np.frombuffer(content, np.uint8).copy()
    digit = (letters >= ord("0")) & (letters <= ord("9"))
    last = digit[1:-1] & digit[:-2] & ~digit[2:] & (letters[2:] != ord("."))
    places = np.flatnonzero(last) + 1
    places = places[places > content.index(b"\n0,")]  # what stands above the table stays
    letters[places] = chance.integers(ord("0"), ord("9"), len(places), dtype=np.uint8, endpoint=True)
    return letters.tobytes()
