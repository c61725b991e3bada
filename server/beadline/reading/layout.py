"""Where in a text the table is."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from beadline.reading import cells, heading
from beadline.reading.errors import UnreadableFile
from beadline.reading.sample import Sample
from beadline.reading.wording import counted, shown

MOST_COLUMNS = 1000


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


def find(sample: Sample) -> Layout:
    """Find the table in the first lines of a text.

    Raises
    ------
    UnreadableFile
        If there is none.
    """
    if sample.marks is None:
        raise _no_table(sample.lines, sample.filename)
    delimiter, decimal = sample.marks
    rows = sample.rows(delimiter)
    first, last = _longest_run(heading.are_data(rows, decimal), [not any(row) for row in rows])
    if last == 0:
        raise _no_table(sample.lines, sample.filename)
    first = heading.with_runs_before(rows, first, decimal)
    width = Counter(map(len, filter(any, rows[first:last]))).most_common(1)[0][0]
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
