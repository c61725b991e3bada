"""A column as its header and its first cells show it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from beadline.reading import cells
from beadline.reading.headers import Header, understand
from beadline.reading.wording import shown


@dataclass(frozen=True, slots=True)
class SampledColumn:
    """What the first rows tell of a column: its header, and what kind of content it holds."""

    index: int
    header: Header
    content: str  # "numbers", "times", "dates", "text", "quality", "nothing"
    sample: tuple[str, ...]
    unit_cell: str

    @property
    def named(self) -> str:
        """The column's place and header, as people would call it."""
        return (
            f"Column {self.index + 1} {shown(self.header.written)}"
            if self.header.written
            else f"Column {self.index + 1}"
        )


def cells_below(sample: Sequence[Sequence[str]], width: int) -> list[tuple[str, ...]]:
    """Return the filled cells of each column in some rows."""
    if sample and all(len(row) >= width for row in sample):
        return [tuple(filter(None, column)) for column in zip(*sample, strict=False)][:width]
    return [tuple(row[at] for row in sample if at < len(row) and row[at]) for at in range(width)]


def sampled(
    header: Sequence[Sequence[str]],
    unit_row: int | None,
    below: tuple[str, ...],
    index: int,
    decimal: str,
) -> SampledColumn:
    """Return what the header and the first rows tell of the column at a place."""
    names = [row[index] for number, row in enumerate(header) if number != unit_row and row[index]]
    written = " ".join(dict.fromkeys(names))
    unit = header[unit_row][index] if unit_row is not None else ""
    return SampledColumn(index, understand(written, unit), _content(below, decimal), below, unit)


def under_pair(column: SampledColumn, columns: Sequence[SampledColumn]) -> SampledColumn:
    """Give a nameless column the name over the axis to its left: one name stands over an x/y pair."""
    left = columns[column.index - 1] if column.index else column
    axis = left.header.unit is not None and left.header.unit.kind in ("volume", "time", "bed volumes")
    if column.header.written or not axis or not left.header.written or column.content == "nothing":
        return column
    return replace(column, header=understand(left.header.written, column.unit_cell))


def _content(below: Sequence[str], decimal: str) -> str:
    if below and cells.all_plain(below, decimal):
        return "numbers"
    many = Counter(below)  # columns of words repeat a few
    plain = {
        cell: count
        for cell, count in many.items()
        if not cells.is_quality(cell) and not cells.is_failed(cell)
    }
    words = {cell.lower() for cell in many}
    if not plain:
        return "nothing"
    if words <= cells.GOOD_WORDS | cells.QUALITY_WORDS and not all(
        cells.is_number(cell, decimal) for cell in plain
    ):
        return "quality"
    if 2 * sum(n for cell, n in plain.items() if cells.is_number(cell, decimal)) >= sum(plain.values()):
        return "numbers"
    if 2 * sum(n for cell, n in plain.items() if cells.is_when(cell)) >= sum(plain.values()):
        return "times" if any(":" in cell or "T" in cell for cell in plain) else "dates"
    return "text"
