"""Columns of numbers become signals over volume."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import numpy as np

from beadline.reading import axis, conversion, marks, started
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.groups import Group, absolute_s, groups_of
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.table import Table
from beadline.reading.trace import Floats, Quantity, Role, Signal, Started, Trace
from beadline.reading.wording import counted, shown

# What loggers write for "no value", from memory; taken so only where all other values are far from it.
_NO_VALUE = (
    -999.0,
    -999.9,
    -999.99,
    -9999.0,
    -9999.9,
    -9999.99,
    -99999.0,
    -32768.0,
    9999.0,
    99999.0,
    999999.0,
)
MOST_FAILED = 0.2  # part of a signal that a failed calculation may have left empty


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
        marks.Place(main.rows, main.volume_m3, main.time_s, _origin(table, profile), main.counted_from_m3),
        said,
        groups_volume(groups),
    )
    began = _started(table, profile, said)
    clock = (main.time_s, main.volume_m3) if main.time_s is not None else (None, None)
    return Trace(signals, found, clock[0], clock[1], tuple(dict.fromkeys(said)), profile, began)


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


def _started(table: Table, profile: Profile, said: list[str]) -> Started | None:
    """Return when the run started: by its first row if that is dated, else by the lines above."""
    above, unclear = started.from_preamble(table.above)
    by_row, unclear_row = None, ""
    for plan in profile.columns:
        cell = table.first[plan.index] if plan.index < len(table.first) else ""
        values = table.numbers.get(plan.index, np.empty(0))
        if plan.use in ("clock", "date") and plan.unit.startswith("date") and plan.axis is None:
            by_row, unclear_row = started.from_stamp(cell, values, plan.unit)
            break
        if plan.use == "time" and plan.unit == "d" and len(values):
            by_row = started.from_spreadsheet_days(float(values[0]))
        elif plan.use == "time" and plan.unit in ("s", "ms") and len(values):
            by_row = started.from_1970(float(values[0]) * conversion.known_unit(plan).factor)
    began = by_row or above
    clock = next((p for p in profile.columns if p.use == "clock" and not p.unit.startswith("date")), None)
    if clock is not None and len(table.numbers[clock.index]):
        began = started.with_clock(began, float(table.numbers[clock.index][0]))
    if began is not None:
        when = f"{began.moment:%Y-%m-%d}" if began.day_only else f"{began.moment:%Y-%m-%d %H:%M}"
        said.append(f"The run started on {when}, because {began.source}.")
    else:
        said.extend(filter(None, (unclear_row, unclear)))
    return began


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
    values = _without_stand_ins(table.numbers[plan.index], plan, said)
    for index in mine:
        bad = table.bad[index]
        if bad.any():
            values = np.where(bad, np.nan, values)
            said.append(
                f"{counted(int(bad.sum()), 'value')} of {shown(plan.header)} "
                "called bad by the file: kept as gaps."
            )
    gaps, words = int(np.isnan(table.numbers[plan.index]).sum()), table.words.get(plan.index, 0)
    failed = table.failed.get(plan.index, 0)
    if failed:
        _refuse_many_failed(failed, len(values), plan)
        said.append(f"{counted(failed, 'cell')} of {shown(plan.header)} with NaN or the like: kept as gaps.")
    if words:
        said.append(
            f"{counted(words, 'cell')} of {shown(plan.header)} with a word for a missing value: kept as gaps."
        )
    if plan.axis is None and gaps > words + failed and not mine:
        said.append(f"{counted(gaps - words - failed, 'empty cell')} of {shown(plan.header)}: kept as gaps.")
    return values


def _without_stand_ins(values: Floats, plan: ColumnPlan, said: list[str]) -> Floats:
    """Return values with a gap where a number such as -9999 stands for none."""
    known = values[np.isfinite(values)]
    least, most = (float(known.min()), float(known.max())) if len(known) else (0.0, 0.0)
    for number in _NO_VALUE:
        if not least <= number <= most:
            continue
        stands = values == number
        if not stands.any():
            continue
        others = values[~stands & np.isfinite(values)] / number
        if len(others) and float(others.max()) < 0.1:
            said.append(
                f"{counted(int(stands.sum()), 'cell')} of {shown(plan.header)} with {number:g}, far from all "
                "other values: taken as no value and kept as gaps."
            )
            values = np.where(stands, np.nan, values)
    return values


def _refuse_many_failed(failed: int, count: int, plan: ColumnPlan) -> None:
    watched = plan.axis is None and plan.quantity in ("conductivity", "uv", "ph")
    if not watched or failed <= MOST_FAILED * count:
        return
    raise UnreadableFile(
        f"{failed} of {count} values of {shown(plan.header)} are NaN or the like, as a failed calculation "
        "leaves; a few would be read as gaps.",
        where=f"column {plan.index + 1}",
        mend="Export the signal as it was measured; leave a cell empty where there is no value.",
        code="not-finite",
    )


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
