"""Columns of numbers become signals over volume."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np

from beadline.reading import axis, clocks, marks
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.table import Table
from beadline.reading.trace import Floats, Quantity, Role, Signal, Trace
from beadline.reading.units import Unit, unit_of
from beadline.reading.wording import counted, shown


@dataclass(frozen=True, slots=True)
class _Group:
    """Columns that share an axis: their rows, and the volume on each."""

    rows: axis.Rows
    volume_m3: Floats
    time_s: Floats | None


def trace(table: Table, profile: Profile, notes: Sequence[str]) -> Trace:
    """Put the signals on volume and the marks beside them.

    Raises
    ------
    UnreadableFile
        If there is no volume, it falls within a step, or no signal has a value.
    """
    said = [*notes, *table.notes]
    facts = Facts(profile.flow_m3_s, profile.bed_volume_m3, profile.column_area_m2)
    steps = _step_rows(table, profile)
    groups = _groups(table, profile, facts, steps, said)
    main = next(iter(groups.values()))
    signals = _signals(table, profile, facts, groups, said)
    found = marks.collect(
        table,
        profile,
        marks.Place(main.rows, main.volume_m3, main.time_s, _origin(table, profile)),
        said,
        groups_volume(groups),
    )
    clock = (main.time_s, main.volume_m3) if main.time_s is not None else (None, None)
    return Trace(signals, found, clock[0], clock[1], tuple(dict.fromkeys(said)), profile)


def groups_volume(groups: dict[int, _Group]) -> dict[int, tuple[axis.Rows, Floats]]:
    """Return rows and volumes of each axis, by the index of its column."""
    return {index: (group.rows, group.volume_m3) for index, group in groups.items()}


def _step_rows(table: Table, profile: Profile) -> list[int] | None:
    """Return the rows where steps start, or None if the file does not tell them row by row."""
    rows = [
        row
        for plan in profile.columns
        if plan.use == "mark" and plan.axis is None
        for row, _ in table.marks.get(plan.index, ())
    ]
    rows += [row for row, _ in table.headings]
    return rows or None


def _plan(profile: Profile, use: str) -> ColumnPlan | None:
    return next((plan for plan in profile.columns if plan.use == use), None)


def _origin(table: Table, profile: Profile) -> float | None:
    """Return the clock at the first row [s], for logs that tell the time of day."""
    clock = _absolute(table, profile)
    known = clock[np.isfinite(clock)] if clock is not None else np.empty(0)
    return float(known[0]) if len(known) else None


def _absolute(table: Table, profile: Profile) -> Floats | None:
    clock, date = _plan(profile, "clock"), _plan(profile, "date")
    if clock is None:
        return table.numbers[date.index] if date else None
    values: Floats = table.numbers[clock.index]
    if date is not None and not clock.unit.startswith("date"):
        return values + table.numbers[date.index]
    return values


def _groups(
    table: Table, profile: Profile, facts: Facts, steps: list[int] | None, said: list[str]
) -> dict[int, _Group]:
    own = sorted({plan.axis for plan in profile.columns if plan.axis is not None})
    if not own:
        return {-1: _shared(table, profile, facts, steps, said)}
    if profile.axis == "volume":
        plans = {plan.index: plan for plan in profile.columns}
        return {index: _own_volume(table, plans[index], facts) for index in own}
    return _own_times(table, profile, facts, own, said)


def _shared(table: Table, profile: Profile, facts: Facts, steps: list[int] | None, said: list[str]) -> _Group:
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
        volume = found.values * _volume_factor(plan, facts)
        return _Group(rows, volume, time_s)
    if time_s is None:
        raise UnreadableFile(
            "There is no time.", where="reading profile", mend="Choose a time column.", code="no-axis"
        )
    flow = _flow(table, profile, facts, len(rows))
    said.append("Volume is flow integrated over time, by the trapezoid rule.")
    return _Group(rows, axis.integrated(time_s, flow, said), time_s)


def _time(table: Table, profile: Profile, steps: list[int] | None, said: list[str]) -> Floats | None:
    """Return the time since the first row [s], or None."""
    plan = _plan(profile, "time")
    if plan is not None and unit_of(plan.unit):
        values = table.numbers[plan.index] * _unit(plan).factor
    else:
        plan = _plan(profile, "clock") or _plan(profile, "date")
        absolute = _absolute(table, profile)
        if plan is None or absolute is None:
            return None
        values = axis.unwrapped(absolute, said) if not np.isnan(absolute).any() else absolute
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


def _unit(plan: ColumnPlan) -> Unit:
    unit = unit_of(plan.unit)
    if unit is None:
        raise UnreadableFile(
            f"The unit {shown(plan.unit)} is not known.",
            where=f"column {plan.index + 1} {shown(plan.header)}",
            mend="Set the column's unit in the reading profile, such as mL, min or mS/cm.",
            code="unknown-unit",
        )
    return unit


def _volume_factor(plan: ColumnPlan, facts: Facts) -> float:
    unit = _unit(plan)
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


def _flow(table: Table, profile: Profile, facts: Facts, count: int) -> Floats:
    plan = next((plan for plan in profile.columns if plan.use == "signal" and plan.quantity == "flow"), None)
    if plan is not None:
        return _canonical(table.numbers[plan.index], plan, facts)
    return np.full(count, facts.flow_m3_s or 0.0)


def _own_volume(table: Table, plan: ColumnPlan, facts: Facts) -> _Group:
    values, rows = _filled(table, plan)
    found = axis.joined(
        values, starts=[], name=plan.header, lines=table.lines[rows], where=_where(table, plan)
    )
    return _Group(rows, found.values * _volume_factor(plan, facts), None)


def _filled(table: Table, plan: ColumnPlan) -> tuple[Floats, axis.Rows]:
    rows = np.flatnonzero(np.isfinite(table.numbers[plan.index]))
    return table.numbers[plan.index][rows], rows


def _own_times(
    table: Table, profile: Profile, facts: Facts, own: list[int], said: list[str]
) -> dict[int, _Group]:
    """Put pairs of time and signal on the volume that the flow, on its own times, has passed."""
    plans = {plan.index: plan for plan in profile.columns}
    times = {}
    for index in own:
        values, rows = _filled(table, plans[index])
        if plans[index].use == "clock":
            values = axis.unwrapped(values, said)
        else:
            values = values * _unit(plans[index]).factor
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
        _canonical(table.numbers[flow.index][rows], flow, facts)
        if flow
        else np.full(len(rows), facts.flow_m3_s or 0.0)
    )
    passed = axis.integrated(clock_s, rates, said)
    said.append("Volume is flow integrated over time, by the trapezoid rule; each signal has its own times.")
    return {
        index: _Group(rows, np.interp(values, clock_s, passed), values - start)
        for index, (values, rows) in times.items()
    }


def _canonical(values: Floats, plan: ColumnPlan, facts: Facts) -> Floats:
    """Return values in the unit that arrays are kept in."""
    if plan.quantity == "other":
        return values
    unit = _unit(plan)
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


def _signals(
    table: Table, profile: Profile, facts: Facts, groups: dict[int, _Group], said: list[str]
) -> tuple[Signal, ...]:
    out: list[Signal] = []
    for index, group in groups.items():
        members = [
            plan
            for plan in profile.columns
            if plan.use == "signal" and (-1 if plan.axis is None else plan.axis) == index
        ]
        values = [_good(table, profile, plan, said)[group.rows] for plan in members]
        values = [_canonical(column, plan, facts) for column, plan in zip(values, members, strict=True)]
        volume, values, gone = axis.merged(group.volume_m3, values)
        if gone:
            said.append(f"{counted(gone, 'row')} at a volume already seen: averaged with the row before.")
        for plan, column in zip(members, values, strict=True):
            if signal := _signal(plan, volume, column, out, said):
                out.append(signal)
    if not any(signal.quantity != "other" for signal in out):
        raise _no_signal(profile, out)
    order = {plan.header: plan.index for plan in profile.columns}
    return tuple(sorted(out, key=lambda signal: order.get(signal.name, len(order))))


def _good(table: Table, profile: Profile, plan: ColumnPlan, said: list[str]) -> Floats:
    """Return a column with a gap where its quality column calls it bad."""
    quality = [other.index for other in profile.columns if other.use == "quality"]
    mine = [index for index in quality if len(quality) == 1 or index == plan.index + 1]
    values = table.numbers[plan.index]
    for index in mine:
        bad = table.bad[index]
        if bad.any():
            values = np.where(bad, np.nan, values)
            said.append(
                f"{counted(int(bad.sum()), 'value')} of {shown(plan.header)} "
                "called bad by the file: kept as gaps."
            )
    gaps, words = int(np.isnan(values).sum()), table.words.get(plan.index, 0)
    if words:
        said.append(
            f"{counted(words, 'cell')} of {shown(plan.header)} with a word for a missing value: kept as gaps."
        )
    if plan.axis is None and gaps > words and not mine:
        said.append(f"{counted(gaps - words, 'empty cell')} of {shown(plan.header)}: kept as gaps.")
    return values


def _signal(
    plan: ColumnPlan, volume: Floats, values: Floats, others: list[Signal], said: list[str]
) -> Signal | None:
    if not np.isfinite(values).any():
        said.append(f"{shown(plan.header)} holds no value and was left out.")
        return None
    same = sum(other.name == plan.header or other.name.startswith(f"{plan.header} (") for other in others)
    name = f"{plan.header} ({same + 1})" if same else plan.header
    return Signal(name, cast(Quantity, plan.quantity), plan.unit, volume, values, cast(Role, plan.role))


def _no_signal(profile: Profile, out: list[Signal]) -> UnreadableFile:
    listed = ", ".join(shown(plan.header) for plan in profile.columns[:8] if plan.header) or "none has a name"
    return UnreadableFile(
        f"No column holds conductivity, UV, pH, pressure, flow or temperature ({listed}).",
        where="header",
        mend="Write quantity and unit in the header, such as Cond (mS/cm), or set them in a reading profile.",
        code="no-signal",
    )
