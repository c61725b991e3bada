"""Columns that share an axis, and the volume on each of their rows."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import cast

import numpy as np

from beadline.reading import axis, clocks, conversion
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.table import Table
from beadline.reading.trace import Floats
from beadline.reading.units import unit_of
from beadline.reading.wording import counted, shown

_NEAR_ZERO = 0.05  # part of the volume at which a trace may start and still be said to start at zero


@dataclass(frozen=True, slots=True)
class Group:
    """Columns that share an axis: their rows, and the volume on each, from where the file counts it on."""

    rows: axis.Rows
    volume_m3: Floats
    time_s: Floats | None
    counted_from_m3: float = 0.0


def groups_of(
    table: Table, profile: Profile, facts: Facts, steps: list[int] | None, said: list[str]
) -> dict[int, Group]:
    """Return the rows that share an axis, by the place of that axis' column; -1 where all share one."""
    own = sorted({plan.axis for plan in profile.columns if plan.axis is not None})
    if not own:
        return _from_start({-1: _shared(table, profile, facts, steps, said)}, said)
    if profile.axis == "volume":
        plans = {plan.index: plan for plan in profile.columns}
        return _from_start({index: _own_volume(table, plans[index], facts) for index in own}, said)
    return _own_times(table, profile, facts, own, said)


def _from_start(groups: dict[int, Group], said: list[str]) -> dict[int, Group]:
    """Count the volume from the trace's start where the file does not: a totaliser, or a zero at the load."""
    first = min(float(group.volume_m3[0]) for group in groups.values())
    span = max(float(group.volume_m3[-1]) for group in groups.values()) - first
    if 0.0 <= first <= _NEAR_ZERO * span:
        return groups
    said.append(f"The volume starts at {first * 1e3:.6g} L in the file; it is counted from there.")
    return {
        index: replace(group, volume_m3=group.volume_m3 - first, counted_from_m3=first)
        for index, group in groups.items()
    }


def _shared(table: Table, profile: Profile, facts: Facts, steps: list[int] | None, said: list[str]) -> Group:
    rows = np.arange(len(table.lines))
    time_s = _time(table, profile, steps, said)
    if profile.axis == "volume":
        plan = cast(ColumnPlan, _plan(profile, "volume"))
        values = table.numbers[plan.index]
        _refuse_gap(values, plan, table)
        found = axis.joined(
            values, starts=steps, name=plan.header, lines=table.lines, where=_where(table, plan)
        )
        if found.joined:
            said.append(
                f"{shown(plan.header)} starts anew {counted(found.joined, 'time')}; the "
                "pieces were joined into one volume."
            )
        volume = found.values * conversion.volume_factor(plan, facts)
        return Group(rows, volume, time_s)
    if time_s is None:
        raise UnreadableFile(
            "There is no time.", where="reading profile", mend="Choose a time column.", code="no-axis"
        )
    flow = _flow(table, profile, facts, len(rows))
    said.append("Volume is flow integrated over time, by the trapezoid rule.")
    return Group(rows, axis.integrated(time_s, flow, said), time_s)


def _time(table: Table, profile: Profile, steps: list[int] | None, said: list[str]) -> Floats | None:
    """Return the time since the first row [s], or None."""
    plan = _plan(profile, "time")
    if plan is not None and unit_of(plan.unit):
        values = table.numbers[plan.index] * conversion.known_unit(plan).factor
    else:
        plan = _plan(profile, "clock") or _plan(profile, "date")
        absolute = absolute_s(table, profile)
        if plan is None or absolute is None:
            return None
        values = axis.unwrapped(absolute, said) if not np.isnan(absolute).any() else absolute
        values = axis.spread(values, shown(plan.header), said)
    if profile.axis == "volume":
        return (
            values - values[0]
            if len(values) and np.isfinite(values).all() and (np.diff(values) >= 0).all()
            else None
        )
    _refuse_gap(values, plan, table)
    show = "{:g}".format if plan.use == "time" else clocks.written
    place = _where(table, plan)
    found = axis.joined(values, starts=steps, name=plan.header, lines=table.lines, where=place, show=show)
    if found.joined:
        said.append(
            f"{shown(plan.header)} starts anew {counted(found.joined, 'time')}; "
            "the pieces were joined into one time."
        )
    since: Floats = found.values - found.values[0]
    return since


def absolute_s(table: Table, profile: Profile) -> Floats | None:
    """Return the time of each row by its clock and date [s]; None if the table has neither."""
    clock, date = _plan(profile, "clock"), _plan(profile, "date")
    if clock is None:
        return table.numbers[date.index] if date else None
    values: Floats = table.numbers[clock.index]
    if date is not None and not clock.unit.startswith("date"):
        return values + table.numbers[date.index]
    return values


def _plan(profile: Profile, use: str) -> ColumnPlan | None:
    return next((plan for plan in profile.columns if plan.use == use), None)


def _where(table: Table, plan: ColumnPlan) -> object:
    return lambda line, name: table.where(line, plan.index + 1, shown(name))


def _refuse_gap(values: Floats, plan: ColumnPlan, table: Table) -> None:
    gaps = np.flatnonzero(np.isnan(values))
    if len(gaps):
        raise UnreadableFile(
            "The cell is empty where a number is needed: it says where on the axis this row belongs.",
            where=table.where(int(table.lines[gaps[0]]), plan.index + 1, shown(plan.header)),
            mend="Fill the cell, or delete the row.",
            code="text-in-number",
        )


def _flow(table: Table, profile: Profile, facts: Facts, count: int) -> Floats:
    plan = next((plan for plan in profile.columns if plan.use == "signal" and plan.quantity == "flow"), None)
    if plan is not None:
        return conversion.canonical(table.numbers[plan.index], plan, facts)
    return np.full(count, facts.flow_m3_s or 0.0)


def _own_volume(table: Table, plan: ColumnPlan, facts: Facts) -> Group:
    values, rows = _filled(table, plan)
    found = axis.joined(
        values, starts=[], name=plan.header, lines=table.lines[rows], where=_where(table, plan)
    )
    return Group(rows, found.values * conversion.volume_factor(plan, facts), None)


def _filled(table: Table, plan: ColumnPlan) -> tuple[Floats, axis.Rows]:
    rows = np.flatnonzero(np.isfinite(table.numbers[plan.index]))
    return table.numbers[plan.index][rows], rows


def _own_times(
    table: Table, profile: Profile, facts: Facts, own: list[int], said: list[str]
) -> dict[int, Group]:
    """Put pairs of time and signal on the volume that the flow, on its own times, has passed."""
    plans = {plan.index: plan for plan in profile.columns}
    times = {}
    for index in own:
        values, rows = _filled(table, plans[index])
        if plans[index].use == "clock":
            values = axis.unwrapped(values, said)
        else:
            values = values * conversion.known_unit(plans[index]).factor
        times[index] = (
            axis.joined(
                values,
                starts=[],
                name=plans[index].header,
                lines=table.lines[rows],
                where=_where(table, plans[index]),
            ).values,
            rows,
        )
    start = min(float(values[0]) for values, _ in times.values())
    flow = next(
        (
            plan
            for plan in profile.columns
            if plan.quantity == "flow" and plan.use == "signal" and plan.axis in times
        ),
        None,
    )
    clock_s, rows = times[cast(int, flow.axis) if flow else own[0]]
    rates = (
        conversion.canonical(table.numbers[flow.index][rows], flow, facts)
        if flow
        else np.full(len(rows), facts.flow_m3_s or 0.0)
    )
    passed = axis.integrated(clock_s, rates, said)
    said.append("Volume is flow integrated over time, by the trapezoid rule; each signal has its own times.")
    return {
        index: Group(rows, np.interp(values, clock_s, passed), values - start)
        for index, (values, rows) in times.items()
    }
