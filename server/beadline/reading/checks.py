"""Whether a reading profile that a person wrote can read anything: units, dimensions and the axis."""

from __future__ import annotations

from beadline.reading import clocks
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.units import unit_of
from beadline.reading.wording import shown

_FLOWS = ("flow", "velocity", "bed volumes per time")
_AXES = {"volume": ("volume", "bed volumes"), "time": ("time",)}
_EXAMPLES = {
    "conductivity": "mS/cm", "uv": "mAU", "ph": "pH", "pressure": "bar", "flow": "L/h", "temperature": "°C",
    "volume": "L, mL or CV", "time": "s, min or h",
}  # fmt: skip


def problems(profile: Profile) -> dict[tuple[int, str], str]:
    """Return what is wrong with the columns of a profile, a sentence each, by column and field.

    Parameters
    ----------
    profile : Profile

    Returns
    -------
    dict of (int, str) to str
        The column's index with "unit", "quantity" or "use"; the index -1 stands for the profile's axis.

    Examples
    --------
    >>> volume = ColumnPlan(0, "Volume", "volume", unit="L")
    >>> pressure = ColumnPlan(1, "P", "signal", "pressure", "mL")
    >>> problems(Profile("text", (volume, pressure), "volume", delimiter=","))
    {(1, 'unit'): '“mL” is a unit of volume, not of pressure; write bar, say.'}
    """
    found = {}
    for plan in profile.columns:
        if said := _of_column(plan):
            found[(plan.index, said[0])] = said[1]
    uses = ("volume",) if profile.axis == "volume" else ("time", "clock", "date")
    if not any(plan.use in uses for plan in profile.columns):
        found[(-1, "axis")] = f"No column is read as {' or '.join(uses)}, which this axis needs."
    return found


def _of_column(plan: ColumnPlan) -> tuple[str, str] | None:
    """Return the field that is wrong and what is wrong with it."""
    if plan.use in ("clock", "date"):
        known = plan.unit in clocks.FORMS
        return None if known else ("unit", f"Say how it is written: {', '.join(clocks.FORMS)}.")
    if plan.use in _AXES:
        return _unit(plan, plan.use, _AXES[plan.use])
    if plan.use != "signal" or plan.quantity == "other":
        return None
    if not plan.quantity:
        return "quantity", "Say what the signal measures, or choose other."
    return _unit(plan, plan.quantity, _FLOWS if plan.quantity == "flow" else (plan.quantity,))


def _unit(plan: ColumnPlan, what: str, kinds: tuple[str, ...]) -> tuple[str, str] | None:
    example = _EXAMPLES[what]
    if not plan.unit:
        return "unit", f"Give the unit: {example}, say."
    unit = unit_of(plan.unit)
    if unit is None:
        return "unit", f"{shown(plan.unit)} is not a unit that is known; write {example}, say."
    if unit.kind in kinds:
        return None
    return "unit", f"{shown(plan.unit)} is a unit of {unit.kind}, not of {what}; write {example}, say."
