"""Where steps start: from a column of names, headings between the numbers, or a log below them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from beadline.reading import axis, cells, clocks
from beadline.reading.headers import Header, understand
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.rows import is_statistic
from beadline.reading.table import Table
from beadline.reading.trace import Floats, Mark
from beadline.reading.units import Unit, unit_of
from beadline.reading.wording import counted, shown

_NAMES = re.compile(r"message|meldung|mensa|text|descri|beschreib", re.IGNORECASE)
_EVENT = re.compile(r"event|ereignis|\bmark|\blog", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Place:
    """Turns rows and times into volume.

    Attributes
    ----------
    rows : ndarray of int
        Rows of the table on the main axis.
    volume_m3 : ndarray
    time_s : ndarray or None
        Since the first row.
    origin_s : float or None
        The clock at the first row.
    counted_from_m3 : float
        What the file calls the volume at the trace's start.
    """

    rows: axis.Rows
    volume_m3: Floats
    time_s: Floats | None
    origin_s: float | None
    counted_from_m3: float = 0.0

    def at_row(self, row: int) -> float:
        """Return the volume at a row of the table."""
        place = int(np.searchsorted(self.rows, row))
        return float(self.volume_m3[min(place, len(self.rows) - 1)])

    def at_time(self, time_s: float) -> float | None:
        """Return the volume passed by a time since the first row."""
        if self.time_s is None or not (self.time_s[0] - 1 <= time_s <= self.time_s[-1] + 60):
            return None
        return float(np.interp(time_s, self.time_s, self.volume_m3))


def collect(
    table: Table, profile: Profile, place: Place, said: list[str], own: Mapping[int, tuple[axis.Rows, Floats]]
) -> tuple[Mark, ...]:
    """Return all marks of a file in the order of volume, and say where they are from."""
    found: list[Mark] = []
    for plan in profile.columns:
        if plan.use == "mark":
            rows, volume = own.get(plan.axis if plan.axis is not None else -1, (place.rows, place.volume_m3))
            found += _of_column(table, plan, Place(rows, volume, None, None), said)
    if headings := _headings(table, profile):
        found += [Mark(place.at_row(row), name) for row, name in headings]
        said.append(
            f"{counted(len(headings), 'line')} between the numbers taken as "
            "names of the steps that start there."
        )
    logged = _of_log(table.tail, profile, place)
    if logged:
        said.append(f"{counted(len(logged), 'step mark')} read from the log below the numbers.")
    elif table.tail:
        said.append(
            f"{counted(len(table.tail), 'line')} below the numbers not understood and left out, "
            f"the first {shown(' '.join(table.tail[0][1]))}."
        )
    above = [] if found or logged else _of_log(event_log(table.above), profile, place)
    if above:
        said.append(f"{counted(len(above), 'step mark')} read from the log above the numbers.")
    beside = [] if found or logged or above else _of_log(table.log, profile, place)
    if beside:
        said.append(f"{counted(len(beside), 'step mark')} read from the log in another sheet.")
    return _ordered([*found, *logged, *above, *beside])


def _headings(table: Table, profile: Profile) -> list[tuple[int, str]]:
    """Return the headings of steps, unless a column names the same; with one above the first table too."""
    named = {
        row for plan in profile.columns if plan.use == "mark" for row, _ in table.marks.get(plan.index, ())
    }
    headings = [(row, name) for row, name in table.headings if row not in named]
    titles = {tuple(cell for cell in row if cell) for row in profile.header}
    above = [[cell for cell in row if cell] for _, row in table.above]
    above = [row for row in above if row and tuple(row) not in titles]
    if headings and len(headings) == table.repeated and above and len(above[-1]) == 1:
        return [(0, above[-1][0]), *headings]
    return headings


def event_log(above: Sequence[tuple[int, list[str]]]) -> Sequence[tuple[int, list[str]]]:
    """Return the lines of a preamble from the header of a log of events on; a list of settings is none."""
    for place, (_, row) in enumerate(above):
        headers = [understand(cell) for cell in row if cell]
        placed = any(header.unit or {"volume", "time"} & set(header.kinds) for header in headers)
        if len(headers) >= 2 and placed and any(_EVENT.search(header.written) for header in headers):
            return above[place:]
    return ()


def _of_column(table: Table, plan: ColumnPlan, place: Place, said: list[str]) -> list[Mark]:
    """Return marks of a column that names the step on every row, or only where it changes."""
    cells_filled = table.marks.get(plan.index, [])
    everywhere = table.filled.get(plan.index, 0) > 0.5 * len(table.lines)
    out: list[Mark] = []
    for row, name in cells_filled:
        if not (everywhere and out and out[-1].name == name):
            out.append(Mark(place.at_row(row), name))
    if out:
        how = "names the step on every row" if everywhere else "names a step only where it starts"
        said.append(f"{shown(plan.header)} {how}; {counted(len(out), 'step')} found.")
    return out


def _of_log(lines: Sequence[tuple[int, list[str]]], profile: Profile, place: Place) -> list[Mark]:
    """Return marks from lines that hold a place and a text."""
    headers: list[Header] = []
    placed: list[tuple[float, list[str]]] = []
    for _, row in lines:
        if sum(1 for cell in row if cell) < 2:
            continue
        if not any(_is_place(cell, profile.decimal) for cell in row):
            headers = [understand(cell) for cell in row]
            continue
        texts = ["" if _is_place(cell, profile.decimal) else cell for cell in row]
        if (volume := _log_place(row, headers, profile, place)) is not None and any(texts):
            placed.append((volume, texts))
    column = _name_column([texts for _, texts in placed], headers)
    named = [(volume, texts[column] if column < len(texts) else "") for volume, texts in placed]
    return [Mark(volume, name) for volume, name in named if name and not is_statistic(name)]


def _name_column(rows: Sequence[Sequence[str]], headers: Sequence[Header]) -> int:
    """Return the column of a log that says what happened: by its header, else by its many words."""
    width = max((len(row) for row in rows), default=1)
    distinct = [
        len({row[index] for row in rows if index < len(row) and row[index]}) for index in range(width)
    ]
    titled = [
        index
        for index, header in enumerate(headers[:width])
        if distinct[index] and ("mark" in header.kinds or _NAMES.search(header.written))
    ]
    return max(titled or range(width), key=lambda index: distinct[index])


def _is_place(cell: str, decimal: str) -> bool:
    return cells.is_number(cell, decimal) or cells.is_when(cell)


def _log_place(row: list[str], headers: list[Header], profile: Profile, place: Place) -> float | None:
    """Return the volume of one line of a log, or None."""
    volumes = (_volume(cell, headers, index, profile, place) for index, cell in enumerate(row))
    return next((volume for volume in volumes if volume is not None), None)


def _volume(cell: str, headers: list[Header], index: int, profile: Profile, place: Place) -> float | None:
    """Return the volume that one cell of a log names, or None."""
    header = headers[index] if index < len(headers) else None
    if cells.is_when(cell):
        return _at_clock(cell, profile, place)
    if not cells.is_number(cell, profile.decimal):
        return None
    value = cells.to_float(cell, profile.decimal)
    kind = profile.axis
    if header is not None and (header.unit or header.kinds):
        kind = "volume" if "volume" in header.kinds else "time" if "time" in header.kinds else ""  # type: ignore[assignment]
    unit = header.unit if header is not None and header.unit else _axis_unit(profile, kind)
    if unit is None:
        return None
    if unit.kind == "bed volumes" and profile.bed_volume_m3:
        return value * profile.bed_volume_m3 - place.counted_from_m3
    if unit.kind == "volume":
        return value * unit.factor - place.counted_from_m3
    return place.at_time(value * unit.factor) if unit.kind == "time" else None


def _axis_unit(profile: Profile, kind: str) -> Unit | None:
    plan = next((plan for plan in profile.columns if plan.use == kind), None)
    return unit_of(plan.unit) if plan else None


def _at_clock(cell: str, profile: Profile, place: Place) -> float | None:
    form = clocks.form_of([cell])
    if not form.startswith("date"):
        form = next((plan.unit for plan in profile.columns if plan.use == "clock"), form)
    seconds = float(clocks.seconds([cell], form)[0])
    if np.isnan(seconds):
        return None
    if place.origin_s is None:
        return place.at_time(seconds)
    if seconds < clocks.DAY_S <= place.origin_s:
        seconds += place.origin_s // clocks.DAY_S * clocks.DAY_S
    since = seconds - place.origin_s
    return place.at_time(since + clocks.DAY_S if since < -clocks.DAY_S / 2 else since)


def _ordered(found: list[Mark]) -> tuple[Mark, ...]:
    """Sort by volume; the same name at the same place twice is one mark."""
    return tuple(dict.fromkeys(sorted(found, key=lambda mark: mark.volume_m3)))
