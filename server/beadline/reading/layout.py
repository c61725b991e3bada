"""Where in a text the table is, and what sets its cells apart."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from beadline.reading import cells
from beadline.reading.errors import UnreadableFile
from beadline.reading.headers import understand
from beadline.reading.lines import SPACES
from beadline.reading.units import unit_of
from beadline.reading.wording import counted, shown

MOST_COLUMNS = 1000
DELIMITERS = ("\t", ";", ",", "|", SPACES)
WORDS = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "vertical bar", SPACES: "blanks"}
_NEAR = 64  # lines from the top that are all looked at; of the rest a few are enough to tell the marks
_RULE = re.compile(r"[\s\-=_+|*;,~]*")


@dataclass(frozen=True, slots=True)
class Layout:
    """The shape of a table of text.

    Attributes
    ----------
    delimiter, decimal : str
    header : tuple of tuple of str
        Header rows from the top, each padded to the width.
    unit_row : int or None
        Which header row holds units.
    preamble : int
        Lines above the header.
    first : int
        Lines above the first row of numbers.
    width : int
        Number of columns.
    """

    delimiter: str
    decimal: str
    header: tuple[tuple[str, ...], ...]
    unit_row: int | None
    preamble: int
    first: int
    width: int


def split(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line, blanks around them taken off."""
    if delimiter == SPACES:
        return re.split(r"\s{2,}|\t", line.strip()) if re.search(r"\S(?:\s{2,}|\t)\S", line) else line.split()
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))]
    return [cell.strip() for cell in line.split(delimiter)]


def find(sample: Sequence[str], deeper: Sequence[str], *, filename: str) -> Layout:
    """Find the table in the first lines of a text.

    Parameters
    ----------
    sample : sequence of str
        The first lines.
    deeper : sequence of str
        Lines from further down, which help to tell the decimal mark.

    Raises
    ------
    UnreadableFile
        If there is none.
    """
    delimiter, decimal = _marks(sample, deeper, filename)
    rows = [split(line, delimiter) for line in sample]
    first, last = _longest_run([_is_data(row, decimal) for row in rows], [not any(row) for row in rows])
    if last == 0:
        raise _no_table(sample, filename)
    first = _with_runs_before(rows, first, decimal)
    width = Counter(len(row) for row in rows[first:last] if any(row)).most_common(1)[0][0]
    if width > MOST_COLUMNS:
        raise UnreadableFile(
            f"The table has {width} columns; the most that is read is {MOST_COLUMNS}.",
            where=f"line {first + 1}",
            mend="Export only the signals that belong to the column.",
            code="too-many-columns",
        )
    first = _with_spoilt_top(rows, first, width, decimal)
    width = _without_empty_end(rows, first, last, width)
    start, unit_row = _header_rows(rows, first, width, decimal)
    width = max([width, *(_last_filled(row) for row in rows[start:first])])
    header = tuple(
        _padded(row, width) for row in rows[start:first] if _filled(row) and not _RULE.fullmatch("".join(row))
    )
    return Layout(delimiter, decimal, header, unit_row, start, first, width)


def _padded(row: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple([*row, *[""] * (width - len(row))][:width])


def _last_filled(row: Sequence[str]) -> int:
    return max((index + 1 for index, cell in enumerate(row) if cell), default=0)


def _filled(row: Iterable[str]) -> int:
    return sum(1 for cell in row if cell)


def _without_empty_end(rows: list[list[str]], first: int, last: int, width: int) -> int:
    """Take off columns at the right that no row and no header fills: delimiters at the ends of lines."""
    near = rows[max(0, first - 3) : last]
    while width > 2 and not any(len(row) >= width and row[width - 1] for row in near):
        width -= 1
    return width


def _is_data(row: Sequence[str], decimal: str) -> bool:
    """Tell whether a row is one of numbers: two at least, or the axis and a word for a missing value."""
    numbers, filled = _count(row, decimal)
    return numbers >= 2 and numbers >= 0.4 * filled


def _count(row: Sequence[str], decimal: str) -> tuple[int, int]:
    """Return how many cells are numbers or times, and how many there are without words for missing values."""
    pattern = cells.number_pattern(decimal)
    numbers = filled = 0
    for cell in row:
        if cell and not cells.is_quality(cell) and not cells.is_failed(cell):
            filled += 1
            numbers += pattern.fullmatch(cell) is not None or cells.is_when(cell)
    return numbers, filled


def _marks(sample: Sequence[str], deeper: Sequence[str], filename: str) -> tuple[str, str]:
    """Return the delimiter and the decimal mark under which most of the text becomes numbers."""
    best, choice = 0.0, None
    thinned = (*sample[:_NEAR], *sample[_NEAR :: 1 + len(sample) // 40], *deeper[:: 1 + len(deeper) // 40])
    lines = [line[:5000] for line in thinned]
    for delimiter in DELIMITERS:
        rows = [split(line, delimiter) for line in lines]
        for decimal in ".,":
            score = _score(rows, decimal) * (0.8 if delimiter == SPACES else 1.0)
            if score > best * 1.0001 or (
                score > 0 and abs(score - best) <= 1e-4 * best and _commas_decide(rows, choice, delimiter)
            ):
                best, choice = score, (delimiter, decimal)
    if choice is None:
        raise _no_table(sample, filename)
    return choice


def _score(rows: list[list[str]], decimal: str) -> float:
    total = 0.0
    for row in rows:
        numbers, filled = _count(row, decimal)
        if numbers >= 2:
            total += numbers * numbers / filled
    return total


def _commas_decide(rows: list[list[str]], choice: tuple[str, str] | None, delimiter: str) -> bool:
    """Both marks fit: the comma is the decimal one if commas stand in numbers and points don't."""
    if choice is None or choice[0] != delimiter:
        return False
    numeric = [cell for row in rows for cell in row if cells.is_number(cell, ",")]
    return sum("," in cell for cell in numeric) > sum("." in cell for cell in numeric)


def _longest_run(is_data: list[bool], is_blank: list[bool]) -> tuple[int, int]:
    """Return where the longest stretch of rows starts and ends; blanks don't break it."""
    best, start, count, end = (0, 0, 0), 0, 0, 0
    for index, (data, blank) in enumerate(zip(is_data, is_blank, strict=True)):
        if data:
            start, count, end = (index, 1, index + 1) if count == 0 else (start, count + 1, index + 1)
            if count > best[0]:
                best = (count, start, end)
        elif not blank:
            count = 0
    return best[1], best[2]


def _with_runs_before(rows: list[list[str]], first: int, decimal: str) -> int:
    """Return the first row of numbers of all: only another header parts two stretches."""
    while True:
        before = next((index for index in range(first - 1, -1, -1) if _is_data(rows[index], decimal)), None)
        if (
            before is None
            or len(rows[before]) != len(rows[first])
            or _is_new_header(rows, before, first, decimal)
        ):
            return first
        first = before
        while first > 0 and _is_data(rows[first - 1], decimal):
            first -= 1


def _is_new_header(rows: list[list[str]], before: int, first: int, decimal: str) -> bool:
    """Tell whether a header other than that of the numbers before stands between two stretches."""
    between = [row for row in rows[before + 1 : first] if any(understand(cell).unit for cell in row if cell)]
    while before > 0 and (_is_data(rows[before - 1], decimal) or not any(rows[before - 1])):
        before -= 1
    return bool(between) and not all(row in rows[max(0, before - 6) : before] for row in between)


def _with_spoilt_top(rows: list[list[str]], first: int, width: int, decimal: str) -> int:
    """Take spoilt rows between header and numbers in, so that they get refused by their place."""
    above = [index for index in range(first - 1, max(-1, first - 12), -1) if any(rows[index])]
    for spoilt, index in enumerate(above):
        if _is_header(rows[index], width, decimal):
            return above[spoilt - 1] if spoilt else first
        if not any(_count(rows[index], decimal)) or len(rows[index]) < min(2, width):
            return first
    return first


def _header_rows(rows: list[list[str]], first: int, width: int, decimal: str) -> tuple[int, int | None]:
    """Return the line where the header starts, and which of its rows holds units."""
    above = [
        index
        for index in range(first - 1, max(-1, first - 8), -1)
        if _filled(rows[index]) and not _RULE.fullmatch("".join(rows[index]))
    ]
    if not above or not _is_header(rows[above[0]], width, decimal):
        return first, None
    units = _is_units(rows[above[0]])
    second = above[1] if len(above) > 1 and _is_header(rows[above[1]], width, decimal) else None
    if units:
        third = above[2] if len(above) > 2 and second is not None else None
        if third is not None and _spans(rows[third], width):
            return third, 2
        return (second, 1) if second is not None else (above[0], 0)
    if second is not None and _is_units(rows[second]):
        third = above[2] if len(above) > 2 and _is_header(rows[above[2]], width, decimal) else None
        return (second, 0) if third is None or _has_names(rows[above[0]]) else (third, 1)
    if len(above) > 1 and _spans(rows[above[1]], width):
        return above[1], None
    return above[0], None


def _has_names(row: Sequence[str]) -> bool:
    return any(len(cell) > 2 for cell in row)


def _is_header(row: Sequence[str], width: int, decimal: str) -> bool:
    """Tell whether a row could name the columns: enough cells, hardly a number among them."""
    numbers, filled = _count(row, decimal)
    enough = max(2, width * 0.4) if width > 2 else 1
    return _filled(row[:width]) >= enough and numbers <= 0.3 * max(filled, 1)


def _is_units(row: Sequence[str]) -> bool:
    """Tell whether a row holds units: most of its filled cells are nothing else."""
    bare = [cell for cell in row if cell]
    known = sum(
        unit_of(cell) is not None or cell.strip("[]()") in ("-", "", "hh:mm:ss", "nm") for cell in bare
    )
    return known >= 1 and known >= 0.6 * len(bare)


def _spans(row: Sequence[str], width: int) -> bool:
    """Tell whether a row names groups of columns: names with gaps between them, as over x/y pairs."""
    filled = [index for index, cell in enumerate(row[:width]) if cell]
    gaps = [b - a for a, b in pairwise(filled)]
    return width >= 4 and len(filled) >= 2 and min(gaps) >= 2 and filled[-1] >= width - 3


def _no_table(sample: Sequence[str], filename: str) -> UnreadableFile:
    """Say why there is no table: another delimiter, or no numbers at all."""
    between = re.compile(r"(?<=\d)\s*([^\w\s.,;|+\-\"'\t])\s*(?=[-+]?\d)")
    for number, line in enumerate(sample, 1):
        found = between.findall(line)
        if len(found) >= 2 and len(set(found)) == 1 and found[0] not in ":/":
            return UnreadableFile(
                f"The cells seem to be set apart by {shown(found[0])}, which "
                "is not a delimiter that is read.",
                where=f"line {number}",
                mend="Export with comma, semicolon or tab between the cells.",
                code="wrong-delimiter",
            )
    return UnreadableFile(
        "There is no row with at least two numbers among the first "
        f"{counted(len(sample), 'line')} (a row needs an axis and a signal).",
        where=filename,
        mend="Drop the export of a run's signals: volume (or time and flow) "
        "in one column, a signal in another.",
        code="no-numbers",
    )
