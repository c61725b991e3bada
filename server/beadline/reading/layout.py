"""Where in a text the table is, and what sets its cells apart."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from beadline.reading import cells, heading
from beadline.reading.errors import UnreadableFile
from beadline.reading.lines import SPACES
from beadline.reading.wording import counted, shown

MOST_COLUMNS = 1000
DELIMITERS = ("\t", ";", ",", "|", SPACES)
WORDS = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "vertical bar", SPACES: "blanks"}
_NEAR = 64  # lines from the top that are all looked at; of the rest a few are enough to tell the marks


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
        return re.split(r"\s{2,}|\t", line.strip()) if is_wide(line) else line.split()
    if '"' in line:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter, skipinitialspace=True))]
    return [cell.strip() for cell in line.split(delimiter)]


def is_wide(line: str) -> bool:
    """Tell whether a line has cells more than one blank apart, so that a cell may hold one."""
    return re.search(r"\S(?:\s{2,}|\t)\S", line) is not None


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
    delimiter, decimal = marks(sample, deeper, filename)
    rows = [split(line, delimiter) for line in sample]
    first, last = _longest_run(
        [heading.is_data(row, decimal) for row in rows], [not any(row) for row in rows]
    )
    if last == 0:
        raise _no_table(sample, filename)
    first = heading.with_runs_before(rows, first, decimal)
    width = Counter(len(row) for row in rows[first:last] if any(row)).most_common(1)[0][0]
    if width > MOST_COLUMNS:
        raise UnreadableFile(
            f"The table has {width} columns; the most that is read is {MOST_COLUMNS}.",
            where=f"line {first + 1}",
            mend="Export only the signals that belong to the column.",
            code="too-many-columns",
        )
    first = heading.with_spoilt_top(rows, first, width, decimal)
    width = _without_empty_end(rows, first, last, width)
    start, unit_row = heading.header_rows(rows, first, width, decimal)
    width = max([width, *(_last_filled(row) for row in rows[start:first])])
    header = tuple(
        _padded(row, width)
        for row in rows[start:first]
        if heading.filled(row) and not heading.RULE.fullmatch("".join(row))
    )
    return Layout(delimiter, decimal, header, unit_row, start, first, width)


def refuse_decimal_commas(shape: Layout, rows: Sequence[Sequence[str]], where: str) -> None:
    """Refuse rows with more cells than the header names, all digits: commas that cut numbers apart.

    Raises
    ------
    UnreadableFile
        If it looks so.
    """
    named = max((_last_filled(row) for row in shape.header), default=0)
    if shape.delimiter != "," or not 2 <= named < shape.width:
        return
    bare = [cell for row in rows for cell in row if cell and not cells.is_when(cell)]
    beyond = [cell for row in rows for cell in row[named:] if cell]
    numbers = [cell for cell in bare if cells.is_number(cell, ".")]
    if any("." in cell for cell in numbers) or not beyond or not all(cell.isdecimal() for cell in beyond):
        return
    raise UnreadableFile(
        f"The rows have {counted(shape.width, 'cell')}, but the header names {counted(named, 'column')}: the "
        "numbers seem to have decimal commas, in a file with commas between the cells as well.",
        where=where,
        mend="Export with semicolons or tabs between the cells, or with decimal points.",
        code="decimal-comma",
    )


def _padded(row: Sequence[str], width: int) -> tuple[str, ...]:
    return tuple([*row, *[""] * (width - len(row))][:width])


def _last_filled(row: Sequence[str]) -> int:
    return max((index + 1 for index, cell in enumerate(row) if cell), default=0)


def _without_empty_end(rows: list[list[str]], first: int, last: int, width: int) -> int:
    """Take off columns at the right that no row and no header fills: delimiters at the ends of lines."""
    near = rows[max(0, first - 3) : last]
    while width > 2 and not any(len(row) >= width and row[width - 1] for row in near):
        width -= 1
    return width


def marks(sample: Sequence[str], deeper: Sequence[str], filename: str) -> tuple[str, str]:
    """Return the delimiter and the decimal mark under which most of the text becomes numbers."""
    thinned = (*sample[:_NEAR], *sample[_NEAR :: 1 + len(sample) // 40], *deeper[:: 1 + len(deeper) // 40])
    choice = _marks(tuple(line[:5000] for line in thinned))
    if choice is None:
        raise _no_table(sample, filename)
    return choice


@lru_cache(maxsize=2)  # a long list and a wide table are both looked for in the same lines
def _marks(lines: tuple[str, ...]) -> tuple[str, str] | None:
    best, choice = 0.0, None
    for delimiter in DELIMITERS:
        rows = [split(line, delimiter) for line in lines]
        for decimal in ".,":
            score = _score(rows, decimal) * (0.8 if delimiter == SPACES else 1.0)
            if score > best * 1.0001 or (
                score > 0 and abs(score - best) <= 1e-4 * best and _commas_decide(rows, choice, delimiter)
            ):
                best, choice = score, (delimiter, decimal)
    return choice


def _score(rows: list[list[str]], decimal: str) -> float:
    total = 0.0
    for row in rows:
        numbers, known = heading.count(row, decimal)
        if numbers >= 2:
            total += numbers * numbers / known
    return total


def _commas_decide(rows: list[list[str]], choice: tuple[str, str] | None, delimiter: str) -> bool:
    """Both marks fit: the comma is the decimal one if commas stand in numbers and points don't."""
    if choice is None or choice[0] != delimiter:
        return False
    numeric = [cell for row in rows for cell in row if cells.is_number(cell, ",")]
    if _groups_thousands(rows, "."):
        return True
    return sum("," in cell for cell in numeric) > sum("." in cell for cell in numeric)


def _groups_thousands(rows: Sequence[Sequence[str]], mark: str) -> bool:
    """Tell whether a mark groups thousands: a column has whole numbers up to 999, and larger ones with it."""
    grouped = re.compile(rf"-?[1-9]\d{{0,2}}(?:{re.escape(mark)}\d{{3}})+")
    for column in range(max((len(row) for row in rows), default=0)):
        numeric = [
            row[column] for row in rows if column < len(row) and re.fullmatch(r"-?[\d.,]+", row[column])
        ]
        above = [cell for cell in numeric if mark in cell]
        whole = [cell for cell in numeric if mark not in cell]
        if len(above) >= 2 and len(whole) >= 2 and all(grouped.fullmatch(cell) for cell in above):
            return all(len(cell.lstrip("-")) <= 3 and cell.lstrip("-").isdecimal() for cell in whole)
    return False


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
