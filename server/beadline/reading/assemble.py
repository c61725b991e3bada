"""Columns of numbers become signals over volume."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np

from beadline.reading import axis, conversion, marks
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.groups import Group, absolute_s, groups_of
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.table import Table
from beadline.reading.trace import Floats, Quantity, Role, Signal, Trace
from beadline.reading.wording import counted, shown


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
    groups = groups_of(table, profile, facts, steps, said)
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


def groups_volume(groups: dict[int, Group]) -> dict[int, tuple[axis.Rows, Floats]]:
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


def _origin(table: Table, profile: Profile) -> float | None:
    """Return the clock at the first row [s], for logs that tell the time of day."""
    clock = absolute_s(table, profile)
    known = clock[np.isfinite(clock)] if clock is not None else np.empty(0)
    return float(known[0]) if len(known) else None


def _signals(
    table: Table, profile: Profile, facts: Facts, groups: dict[int, Group], said: list[str]
) -> tuple[Signal, ...]:
    out: list[Signal] = []
    for index, group in groups.items():
        members = [
            plan
            for plan in profile.columns
            if plan.use == "signal" and (-1 if plan.axis is None else plan.axis) == index
        ]
        values = [_good(table, profile, plan, said)[group.rows] for plan in members]
        values = [
            conversion.canonical(column, plan, facts) for column, plan in zip(values, members, strict=True)
        ]
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
