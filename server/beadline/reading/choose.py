"""Which axis the signals are put on."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

from beadline.reading import clocks
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.units import unit_of
from beadline.reading.wording import shown

_THROUGH = re.compile(r"column|säule|colonn|columna|total|system|カラム", re.IGNORECASE)


def axis(
    plans: Sequence[ColumnPlan], known: Facts, header: Sequence[Sequence[str]], filename: str
) -> tuple[Literal["volume", "time"], str]:
    """Return "volume" or "time", and the sentence that says why.

    Raises
    ------
    UnreadableFile
        If neither a volume nor time and flow are there.
    """
    volumes = [plan for plan in plans if plan.use == "volume"]
    usable = [plan for plan in volumes if _is_volume(plan, known)]
    if usable and len(usable) == len(volumes):
        named = shown(usable[0].header)
        return "volume", f"Signals stand over {named}." if len(
            usable
        ) == 1 else "Each signal has its own volume column."
    if _has_time(plans) and _has_flow(plans, known):
        _refuse_several_flows(plans)
        return "time", "There is no volume that can be used; flow over time gives it."
    raise _no_axis(plans, volumes, header, filename)


def one_flow(plans: Sequence[ColumnPlan]) -> tuple[ColumnPlan, ...]:
    """Return the plans with one flow alone, where several are there and one says that it is the column's."""
    flows = [plan for plan in plans if plan.use == "signal" and plan.quantity == "flow"]
    through = [plan for plan in flows if _THROUGH.search(plan.header)]
    if len(flows) < 2 or len(through) != 1:
        return tuple(plans)
    return tuple(
        replace(plan, quantity="other") if plan in flows and plan is not through[0] else plan
        for plan in plans
    )


def _refuse_several_flows(plans: Sequence[ColumnPlan]) -> None:
    flows = [plan for plan in plans if plan.use == "signal" and plan.quantity == "flow"]
    if len(flows) > 1 and len({plan.axis for plan in flows}) == 1:
        listed = ", ".join(shown(plan.header) for plan in flows[:4])
        raise UnreadableFile(
            f"The volume has to come from the flow, and {len(flows)} columns hold one ({listed}).",
            where="header",
            mend="Set all but the flow through the column to “not read” in the reading profile, "
            "or export the volume.",
            code="several-flows",
        )


def likely(plans: Sequence[ColumnPlan]) -> Literal["volume", "time"]:
    """Return the axis that is probably meant, whether or not it can be used as it stands."""
    return "volume" if any(plan.use == "volume" for plan in plans) else "time"


def axis_columns(profile: Profile) -> list[int]:
    """Return the columns that say where a row belongs."""
    own = sorted({plan.axis for plan in profile.columns if plan.axis is not None})
    if own:
        return own
    uses = ("volume",) if profile.axis == "volume" else ("time", "clock", "date")
    for use in uses:
        for plan in profile.columns:
            if plan.use == use and (use != "time" or unit_of(plan.unit)):
                return [plan.index]
    raise UnreadableFile(
        f"The reading profile puts the signals on {profile.axis}, but names no column for it.",
        where="reading profile",
        mend="Choose the axis column in the profile.",
        code="broken-profile",
    )


def _is_volume(plan: ColumnPlan, known: Facts) -> bool:
    unit = unit_of(plan.unit)
    return unit is not None and (unit.kind == "volume" or known.bed_volume_m3 is not None)


def _has_time(plans: Sequence[ColumnPlan]) -> bool:
    return any(
        (plan.use in ("clock", "date") and plan.unit != clocks.UNCLEAR)
        or (plan.use == "time" and unit_of(plan.unit))
        for plan in plans
    )


def without_unclear_clocks(plans: Sequence[ColumnPlan]) -> tuple[ColumnPlan, ...]:
    """Return the plans without clocks of which nobody knows what they count."""
    return tuple(replace(plan, use="ignored") if plan.unit == clocks.UNCLEAR else plan for plan in plans)


def _has_flow(plans: Sequence[ColumnPlan], known: Facts) -> bool:
    if known.flow_m3_s:
        return True
    units = [unit for plan in plans if plan.quantity == "flow" and (unit := unit_of(plan.unit)) is not None]
    sizes = {"flow": True, "velocity": known.column_area_m2, "bed volumes per time": known.bed_volume_m3}
    return any(sizes.get(unit.kind) for unit in units)


def _no_axis(
    plans: Sequence[ColumnPlan], volumes: Sequence[ColumnPlan], header: Sequence[Sequence[str]], filename: str
) -> UnreadableFile:
    if not header:
        return UnreadableFile(
            "No line above the numbers names the columns.",
            where=filename,
            mend="Export with a header line such as Volume (mL), Cond (mS/cm), or choose a reading profile.",
            code="no-header",
        )
    without = next((plan for plan in plans if plan.use in ("volume", "time") and not plan.unit), None)
    if without is not None:
        return UnreadableFile(
            f"The {without.use} column {shown(without.header)} has no unit.",
            where=f"column {without.index + 1}",
            mend="Write the unit in the header, such as Volume (mL) or Time "
            "(min), or set it in a reading profile.",
            code="no-unit",
        )
    if unclear := next((plan for plan in plans if plan.unit == clocks.UNCLEAR), None):
        return UnreadableFile(
            f"{shown(unclear.header)} may count hours and minutes, or minutes and seconds.",
            where=f"column {unclear.index + 1}",
            mend="Write (mm:ss) or (hh:mm) in the header, or choose how times are written "
            "in the reading profile.",
            code="unclear-clock",
        )
    if volumes:
        return UnreadableFile(
            f"{shown(volumes[0].header)} counts column volumes, and the bed volume is not known.",
            where=f"column {volumes[0].index + 1}",
            mend="Choose the packing first, so that its bed volume is known, "
            "or export the volume in mL or L.",
            code="no-bed-volume",
        )
    if _has_time(plans):
        return UnreadableFile(
            "There is a time but neither a volume nor a flow with a unit that gives one.",
            where="header",
            mend="Export the volume or the flow (mL/min, L/h; cm/h needs the "
            "column's diameter) beside the time.",
            code="no-flow",
        )
    listed = ", ".join(shown(plan.header) for plan in plans[:8] if plan.header)
    return UnreadableFile(
        f"No column is a volume or a time ({listed}).",
        where="header",
        mend="Export the volume, or time and flow, beside the signals, with the unit in the header.",
        code="no-axis",
    )
