"""Columns set apart by blanks: a row that lacks a cell is put right by where its other cells stand."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from beadline.reading import cells
from beadline.reading.delimiters import is_wide
from beadline.reading.errors import UnreadableFile
from beadline.reading.profile import Profile

_WIDE = re.compile(r"\S+(?: \S+)*")
_NARROW = re.compile(r"\S+")


@dataclass(frozen=True, slots=True)
class Aligned:
    """Where the columns of a text stand; `spans` is empty if they overlap, so that nothing can be told."""

    width: int
    words_from: int
    decimal: str
    spans: tuple[tuple[int, int], ...]

    def tabbed(self, blocks: Iterable[tuple[int, str]]) -> Iterator[tuple[int, str]]:
        """Put tabs where blanks set columns apart."""
        for number, text in blocks:
            lines = (self._line(line, number + below) for below, line in enumerate(text.split("\n")))
            yield number, "\n".join(lines)

    def _line(self, line: str, number: int) -> str:
        found = list(_cells(line))
        if len(found) >= self.width or not self._is_row(found):
            return "\t".join(cell[0] for cell in found)
        if not self.spans:
            return self._short(found, number)
        row = [""] * self.width
        for cell, start, end in found:
            shared = [min(end, last) - max(start, first) for first, last in self.spans]
            column = max(range(self.width), key=lambda index: shared[index])
            if shared[column] <= 0 or row[column]:
                raise self._unclear(found, number)
            row[column] = cell
        return "\t".join(row)

    def _is_row(self, found: Sequence[tuple[str, int, int]]) -> bool:
        numbers = [cells.is_number(cell, self.decimal) or cells.is_when(cell) for cell, _, _ in found]
        return len(numbers) >= 2 and numbers[0] and 2 * sum(numbers) >= len(numbers)

    def _short(self, found: Sequence[tuple[str, int, int]], number: int) -> str:
        """Take a row as it stands if only words at its end can be missing."""
        if len(found) < self.words_from or not all(
            cells.is_number(cell, self.decimal) or cells.is_when(cell)
            for cell, _, _ in found[: self.words_from]
        ):
            raise self._unclear(found, number)
        return "\t".join(cell for cell, _, _ in found)

    def _unclear(self, found: Sequence[object], number: int) -> UnreadableFile:
        return UnreadableFile(
            f"The row has {len(found)} cells, but the table has {self.width} columns, and blanks "
            "between the cells do not tell which is missing.",
            where=f"line {number}",
            mend="Export with tabs or semicolons between the cells, or with a word such as NaN "
            "where there is no value.",
            code="missing-cell",
        )


def alignment(sample: Iterable[str], profile: Profile, width: int) -> Aligned:
    """Return where the columns stand, told from those rows of a sample that are whole."""
    whole = [found for line in sample if len(found := list(_cells(line))) == width]
    spans = tuple(
        (min(row[index][1] for row in whole), max(row[index][2] for row in whole))
        for index in range(width)
        if whole
    )
    apart = all(left[1] <= right[0] for left, right in pairwise(spans))
    words = {plan.index for plan in profile.columns if plan.use in ("mark", "quality", "ignored")}
    words_from = width
    while words_from - 1 in words:
        words_from -= 1
    return Aligned(width, words_from, profile.decimal, spans if apart else ())


def _cells(line: str) -> Iterator[tuple[str, int, int]]:
    """Yield the cells of a line as `delimiters.split` sees them, each with where it starts and ends."""
    flat = line.expandtabs(8)
    for found in (_WIDE if is_wide(line) else _NARROW).finditer(flat):
        yield found[0], found.start(), found.end()
