"""What the charts are fed of a cycle."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from beadline.features.transitions import service as transitions
from beadline.science import drift as science
from beadline.science import metrics
from beadline.science.estimates import Estimate
from beadline.store.tables import Cycle, Transition

CHARTED = metrics.by_name(metrics.CYCLE)


def reading_of(
    number: int,
    estimates: Mapping[str, Mapping[str, Estimate]],
    curves: Mapping[str, Any],
    conditions: Mapping[str, Any],
) -> science.Reading:
    """Return what the charts are fed of a cycle.

    Parameters
    ----------
    estimates : mapping
        Usable transitions by name; a cycle without any is not usable.
    curves : mapping
        Their normalised curves; taken as single floats, as they are stored, so that judging cycle by cycle
        equals judging the stored life anew to the last digit.
    conditions : mapping
        As stored with the cycle; flow, corrected pressure drop and temperature are charted.
    """
    values = {f"{name}/{metric}": e for name, found in estimates.items() for metric, e in found.items()}
    values |= {name: Estimate(*pair) for name, pair in conditions.items() if name in CHARTED and pair}
    single = {name: np.asarray(curve, np.float32).astype(np.float64) for name, curve in curves.items()}
    return science.Reading(cycle=number, values=values, curves=single, usable=bool(estimates))


def stored_reading(cycle: Cycle, rows: Sequence[Transition]) -> science.Reading:
    """Return what the charts are fed of a stored cycle."""
    curves = {row.name: row.fraction for row in rows if row.usable and row.fraction is not None}
    reading = reading_of(cycle.number, estimates_by_name(rows), curves, cycle.conditions)
    return replace(reading, excluded=cycle.excluded_at is not None)


def estimates_by_name(rows: Sequence[Transition]) -> dict[str, dict[str, Estimate]]:
    """Return the numbers of the usable transitions."""
    return {row.name: transitions.estimates_of(row) for row in rows if row.usable}
