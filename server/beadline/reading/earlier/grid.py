"""Any spreadsheet or delimited text as rows of text cells, each with its number in the file."""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice

from beadline.reading import content as contents
from beadline.reading import workbook
from beadline.reading.errors import UnreadableFile
from beadline.reading.layout import MOST_COLUMNS
from beadline.reading.lines import TextLines, encoding_of

MOST_ROWS = 20_000
_DELIMITERS = "\t;,|"
_SAMPLE = 200  # lines that are looked at to tell what sets the cells apart


@dataclass(frozen=True, slots=True)
class Grid:
    """A sheet.

    Attributes
    ----------
    sheet : str
        Its name; empty for a text file.
    rows : sequence of (int, list of str)
        Number in the file and cells; blank rows are left out.
    blank : int
        How many rows are blank.
    """

    sheet: str
    rows: Sequence[tuple[int, list[str]]]
    blank: int


def grids(content: bytes, filename: str) -> list[Grid]:
    """Return the filled sheets of a workbook, or a text file as its only one.

    Raises
    ------
    UnreadableFile
        If it is neither, is damaged, or holds more than is read.
    """
    content, filename = contents.unpack(content, filename)
    if contents.is_workbook(content):
        found = [
            _grid(one.sheet, enumerate_rows([line.split("\t") for line in one.lines]), filename)
            for one in workbook.sheets(content, filename)
        ]
    else:
        contents.refuse_foreign(content, filename)
        found = [_grid("", _text_rows(content, filename), filename)]
    filled = [one for one in found if one.rows]
    if not filled:
        raise UnreadableFile(
            "The file holds no filled row.", where=filename, mend="Choose the file of results.", code="empty"
        )
    return filled


def enumerate_rows(rows: Sequence[Sequence[str]]) -> list[tuple[int, list[str]]]:
    """Number rows from 1, and take the blanks around their cells off."""
    return [(number, [cell.strip() for cell in row]) for number, row in enumerate(rows, 1)]


def _grid(sheet: str, rows: Sequence[tuple[int, list[str]]], filename: str) -> Grid:
    filled = [(number, cells) for number, cells in rows if any(cells)]
    widest = max((len(cells) for _, cells in filled), default=0)
    for count, most, noun in ((len(filled), MOST_ROWS, "rows"), (widest, MOST_COLUMNS, "columns")):
        if count > most:
            raise UnreadableFile(
                f"The sheet has {count} {noun}; the most that is read is {most}.",
                where=filename,
                mend="Save the results of one bed in a sheet of their own.",
                code="too-large",
            )
    return Grid(sheet, filled, len(rows) - len(filled))


def _text_rows(content: bytes, filename: str) -> list[tuple[int, list[str]]]:
    lines = TextLines(content, encoding_of(content, filename), filename)
    delimiter = _delimiter(list(islice(iter(lines), _SAMPLE)))
    reader = csv.reader((f"{line}\n" for line in lines), delimiter=delimiter, skipinitialspace=True)
    rows = []
    try:
        for row in islice(reader, MOST_ROWS * 2):
            rows.append((reader.line_num, [" ".join(cell.split()) for cell in row]))
    except csv.Error as error:
        raise UnreadableFile(
            f"The row can't be cut into cells ({error}).",
            where=f"line {reader.line_num}",
            mend="Save the sheet as CSV once more, or as .xlsx.",
            code="damaged",
        ) from error
    return rows


def _delimiter(lines: Sequence[str]) -> str:
    """Return the delimiter under which the most lines have the same number of cells, more than one."""

    def agreeing(delimiter: str) -> tuple[int, int]:
        widths = Counter(len(row) for row in csv.reader(lines, delimiter=delimiter) if any(row))
        widths.pop(1, None)
        width, count = max(widths.items(), key=lambda one: one[1], default=(0, 0))
        return count, width

    try:
        return max(_DELIMITERS, key=agreeing)
    except csv.Error:
        return ","
