"""Values as written into the units that arrays are kept in."""

from __future__ import annotations

import numpy as np

from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import ColumnPlan
from beadline.reading.trace import Floats
from beadline.reading.units import Unit, unit_of
from beadline.reading.wording import shown


def known_unit(plan: ColumnPlan) -> Unit:
    """Return a column's unit; one that is not known makes the file unreadable."""
    unit = unit_of(plan.unit)
    if unit is None:
        raise UnreadableFile(
            f"The unit {shown(plan.unit)} is not known.",
            where=f"column {plan.index + 1} {shown(plan.header)}",
            mend="Set the column's unit in the reading profile, such as mL, min or mS/cm.",
            code="unknown-unit",
        )
    return unit


def volume_factor(plan: ColumnPlan, facts: Facts) -> float:
    """Return how many m3 one unit of a volume column is."""
    unit = known_unit(plan)
    if unit.kind == "volume":
        return unit.factor
    if unit.kind == "bed volumes" and facts.bed_volume_m3:
        return facts.bed_volume_m3
    raise UnreadableFile(
        f"{shown(plan.header)} is not a volume that can be turned into litres.",
        where=f"column {plan.index + 1}",
        mend="Choose a volume column; column volumes need the bed volume.",
        code="wrong-dimension",
    )


def canonical(values: Floats, plan: ColumnPlan, facts: Facts) -> Floats:
    """Return values in the unit that arrays are kept in."""
    if plan.quantity == "other":
        return values
    unit = known_unit(plan)
    if plan.quantity == "flow" and unit.kind in ("velocity", "bed volumes per time"):
        size = facts.column_area_m2 if unit.kind == "velocity" else facts.bed_volume_m3
        return values * (unit.factor * size) if size else np.full(len(values), np.nan)
    if unit.kind != plan.quantity:
        raise UnreadableFile(
            f"{shown(plan.unit)} is a unit of {unit.kind}, not of {plan.quantity}.",
            where=f"column {plan.index + 1} {shown(plan.header)}",
            mend="Set the column's quantity or unit in the reading profile.",
            code="wrong-dimension",
        )
    return values * unit.factor + unit.offset if unit.factor != 1.0 or unit.offset else values
