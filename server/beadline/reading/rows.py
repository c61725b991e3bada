"""Lines below a header, told apart: rows of numbers, headings between them, and what follows the numbers."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from beadline.reading import cells
from beadline.reading.delimiters import split
from beadline.reading.errors import UnreadableFile
from beadline.reading.wording import shown

MOST_TAIL = 20_000
_MOST_PLACELESS = 0.05  # part of the rows that may have no place on the axis
_STATISTIC = re.compile(
    r"(?:min|max|mean|aver|avg|mittel|moyen|promed|med|total|sum|gesamt|std|sd\b|stand|count|anzahl)",
    re.IGNORECASE,
)
_PAGE = re.compile(r"(?:page|seite|blatt|p[áa]gina)\W*\d+(?:\W.*)?", re.IGNORECASE)
_RULE = re.compile(r"[\s\-=_+|*;,~]*")
Where = Callable[[int, int, str], str]


def is_statistic(cell: str) -> bool:
    """Tell whether a cell names what is worked out from a column: its mean, its total."""
    return bool(_STATISTIC.match(cell))


@dataclass
class Sorter:
    """Sorts lines; what it saw besides rows of numbers is kept on it.

    Attributes
    ----------
    headings : list of (int, str)
        Lines of one cell between the numbers, with the number of the row that follows.
    tail : list of (int, list of str)
        Line numbers and cells of what follows the last row of numbers.
    repeated : int
        How often the header came again.
    cut : int
        Lines with fewer cells than the header has columns.
    placeless : list of (int, list of str)
        Line numbers and cells of rows without a value on the axis, which are passed over.
    """

    delimiter: str
    decimal: str
    width: int
    header: Sequence[Sequence[str]]
    axes: Sequence[int]
    signals: Sequence[int]
    where: Where
    headings: list[tuple[int, str]] = field(default_factory=list)
    tail: list[tuple[int, list[str]]] = field(default_factory=list)
    repeated: int = 0
    cut: int = 0
    placeless: list[tuple[int, list[str]]] = field(default_factory=list)
    rows: int = 0
    _odd: list[tuple[int, list[str]]] = field(default_factory=list)
    _pending: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        mark = re.escape(self.delimiter)
        starts = "|".join(rf"(?:[^{mark}]*{mark}){{{axis}}}" for axis in self.axes)
        blanks = " *" if self.delimiter == "\t" else "[ \\t]*"
        point = rf"{re.escape(self.decimal)}?" if self.decimal != self.delimiter else ""
        self._quick = re.compile(rf"(?:{starts}){blanks}[-+]?{point}\d")
        self._titles = {tuple(cell for cell in row if cell) for row in self.header}
        self._least = max([*self.axes[:1], *(self.signals if len(self.axes) == 1 else ())], default=0)

    @property
    def calm(self) -> bool:
        """Whether only rows of numbers have been seen of late."""
        return not self._odd and not self._pending

    def sort(self, first: int, lines: Sequence[str]) -> tuple[list[int], list[str]]:
        """Return the numbers and the lines of those that are rows of numbers."""
        numbers, kept = [], []
        for number, line in enumerate(lines, first):
            if self._is_row(number, line):
                numbers.append(number)
                kept.append(line)
                self.rows += 1
        return numbers, kept

    def finish(self) -> None:
        """No more lines come: what was odd is what follows the numbers.

        Raises
        ------
        UnreadableFile
            If more than a few rows have no place on the axis.
        """
        self.tail = self._odd
        if len(self.placeless) > max(3, _MOST_PLACELESS * (self.rows + len(self.placeless))):
            raise self._bad_axis(*self.placeless[0], count=len(self.placeless))

    def is_plain(self, line: str) -> bool:
        """Tell whether a line without quotation marks has a number on its axis and enough cells."""
        return bool(self._quick.match(line)) and self._least <= line.count(self.delimiter) < self.width

    def _is_row(self, number: int, line: str) -> bool:
        if self.calm and '"' not in line and self.is_plain(line):
            return True
        row = split(line, self.delimiter)
        filled = [cell for cell in row if cell]
        if not filled or _RULE.fullmatch(line):
            return False
        if tuple(filled) in self._titles:
            self.repeated += 1
            return False
        return self._is_careful_row(number, row, filled)

    def _is_careful_row(self, number: int, row: list[str], filled: list[str]) -> bool:
        numeric = [self._number(row, column) for column in self.signals]
        on_axis = any(
            self._number(row, axis) or (axis < len(row) and cells.is_when(row[axis])) for axis in self.axes
        )
        whole = sum(numeric) >= 0.5 * max(1, len(numeric)) if len(self.axes) == 1 else any(numeric)
        if not on_axis and any(numeric) and not self._odd and self._lacks_place(row):
            self.placeless.append((number, row))
            return False
        bare = all(self._is_value(cell) for cell in filled)
        if on_axis and (whole or (self.calm and (bare or len(row) > self._least))):
            return self._resume(number, row)
        if len(filled) == 1 and not self._odd and not on_axis:
            if not _PAGE.fullmatch(filled[0]):
                self._pending.append(filled[0])
            return False
        summary = is_statistic(row[self.axes[0]]) if len(row) > self.axes[0] else False
        if (
            whole
            and not summary
            and len(filled) > 1
            and len(row) > self._least
            and not self._odd
            and len(self.axes) == 1
        ):
            raise self._bad_axis(number, row)
        if len(self._odd) < MOST_TAIL:
            self._odd.extend((number, [heading]) for heading in self._pending)
            self._pending.clear()
            self._odd.append((number, row))
        return False

    def _resume(self, number: int, row: list[str]) -> bool:
        """Take a row of numbers: headings before it become marks, odd lines before it are refused."""
        if self._odd:
            line, odd = self._odd[0]
            raise UnreadableFile(
                f"The line {shown(' '.join(odd))} stands between the numbers and is not one of them.",
                where=self.where(line, 1, ""),
                mend="Take the line out, or correct the number that is missing at its start.",
                code="text-in-number",
            )
        self.headings.extend((self.rows, heading) for heading in self._pending)
        self._pending.clear()
        if any(row[self.width :]):
            raise UnreadableFile(
                f"The line has {len(row)} cells, but the table has {self.width} columns.",
                where=self.where(number, self.width + 1, ""),
                mend="Look for a decimal comma in a file with commas between the cells, or a missing quote.",
                code="too-many-cells",
            )
        self.cut += len(row) <= self._least
        return True

    def _is_value(self, cell: str) -> bool:
        return cells.is_number(cell, self.decimal) or cells.is_when(cell) or cells.is_quality(cell)

    def _number(self, row: list[str], column: int) -> bool:
        return column < len(row) and cells.is_number(row[column], self.decimal)

    def _lacks_place(self, row: list[str]) -> bool:
        """Tell whether the only axis holds nothing, a word for a missing value, or a failed calculation."""
        if len(self.axes) != 1 or len(row) <= self.axes[0]:
            return False
        cell = row[self.axes[0]]
        return not cell or cells.is_quality(cell) or cells.is_failed(cell)

    def _bad_axis(self, number: int, row: list[str], *, count: int = 1) -> UnreadableFile:
        axis = self.axes[0]
        header = " ".join(line[axis] for line in self.header if axis < len(line) and line[axis])
        cell = row[axis] if axis < len(row) else ""
        said = f"The cell holds {shown(cell)}" if cell else "The cell is empty"
        more = f" So it is on {count} rows; a few would be passed over." if count > 1 else ""
        return UnreadableFile(
            f"{said} where a number is needed: it says where on the axis this row belongs.{more}",
            where=self.where(number, axis + 1, shown(header) if header else ""),
            mend="Correct the cell, or delete the row.",
            code="text-in-number",
        )
