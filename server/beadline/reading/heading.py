"""Which rows of a text are numbers, and which above them name the columns."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from functools import lru_cache
from itertools import groupby, pairwise, repeat

from beadline.reading import cells
from beadline.reading.headers import understand
from beadline.reading.units import unit_of

_AT_ONCE = 50
_FEW = 4
RULE = re.compile(r"[\s\-=_+|*;,~]*")


def filled(row: Iterable[str]) -> int:
    """Return how many cells of a row hold something."""
    return sum(1 for cell in row if cell)


def count(row: Sequence[str], decimal: str) -> tuple[int, int]:
    """Return how many cells are numbers or times, and how many there are without words beside them."""
    is_number = cells.number_pattern(decimal).fullmatch
    numbers = known = 0
    for cell in row:
        if cell and (cell[0].isdigit() or not cells.is_aside(cell)):
            known += 1
            numbers += is_number(cell) is not None or cells.is_when(cell)
    return numbers, known


@lru_cache(maxsize=512)  # most columns of words repeat a few
def _count_word(row: tuple[str], decimal: str) -> tuple[int, int]:
    return count(row, decimal)


def counts(rows: Sequence[Sequence[str]], decimal: str) -> list[tuple[int, int]]:
    """Return what `count` does for each row; whole columns at once where all their cells are numbers."""
    found: list[tuple[int, int]] = []
    for _, group in groupby(rows, key=lambda row: (len(row), bool(row) and row[0][:1].isdigit())):
        alike = list(group)
        columns = list(zip(*alike, strict=True))
        odd = [column for column in columns if not cells.all_plain(column, decimal)]
        plain = len(columns) - len(odd)
        rest = zip(*odd, strict=True) if odd else repeat((), len(alike))
        of_rest = _count_word if len(odd) == 1 else count
        found += [
            (plain + numbers, plain + known) for numbers, known in (of_rest(row, decimal) for row in rest)
        ]
    return found


def are_data(rows: Sequence[Sequence[str]], decimal: str) -> list[bool]:
    """Tell which rows are rows of numbers; many at once where all start with numbers."""
    found: list[bool] = []
    for start in range(0, len(rows), _AT_ONCE):
        found += _are_data(rows[start : start + _AT_ONCE], decimal)
    return found


def _are_data(rows: Sequence[Sequence[str]], decimal: str) -> list[bool]:
    enough = [cell for row in rows for cell in row[: max(2, -(-2 * len(row) // 5))]]
    if min(map(len, rows)) >= 2 and cells.all_plain(enough, decimal):
        return [True] * len(rows)
    if len(rows) <= _FEW:
        return [is_data(row, decimal) for row in rows]
    half = len(rows) // 2
    return [*_are_data(rows[:half], decimal), *_are_data(rows[half:], decimal)]


def is_data(row: Sequence[str], decimal: str) -> bool:
    """Tell whether a row is one of numbers: two at least, or the axis and a word for a missing value."""
    numbers, known = count(row, decimal)
    return numbers >= 2 and numbers >= 0.4 * known


def with_runs_before(rows: list[list[str]], first: int, decimal: str) -> int:
    """Return the first row of numbers of all: only another header parts two stretches."""
    while True:
        before = next((index for index in range(first - 1, -1, -1) if is_data(rows[index], decimal)), None)
        if (
            before is None
            or len(rows[before]) != len(rows[first])
            or _is_new_header(rows, before, first, decimal)
        ):
            return first
        first = before
        while first > 0 and is_data(rows[first - 1], decimal):
            first -= 1


def _is_new_header(rows: list[list[str]], before: int, first: int, decimal: str) -> bool:
    """Tell whether a header other than that of the numbers before stands between two stretches."""
    between = [row for row in rows[before + 1 : first] if any(understand(cell).unit for cell in row if cell)]
    while before > 0 and (is_data(rows[before - 1], decimal) or not any(rows[before - 1])):
        before -= 1
    return bool(between) and not all(row in rows[max(0, before - 6) : before] for row in between)


def with_spoilt_top(rows: list[list[str]], first: int, width: int, decimal: str) -> int:
    """Take spoilt rows between header and numbers in, so that they get refused by their place."""
    above = [index for index in range(first - 1, max(-1, first - 12), -1) if any(rows[index])]
    for spoilt, index in enumerate(above):
        if _is_header(rows[index], width, decimal):
            return above[spoilt - 1] if spoilt else first
        if not any(count(rows[index], decimal)) or len(rows[index]) < min(2, width):
            return first
    return first


def header_rows(rows: list[list[str]], first: int, width: int, decimal: str) -> tuple[int, int | None]:
    """Return the line where the header starts, and which of its rows holds units."""
    above = [
        index
        for index in range(first - 1, max(-1, first - 8), -1)
        if filled(rows[index]) and not RULE.fullmatch("".join(rows[index]))
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
    numbers, known = count(row, decimal)
    enough = max(2, width * 0.4) if width > 2 else 1
    return filled(row[:width]) >= enough and numbers <= 0.3 * max(known, 1)


def _is_units(row: Sequence[str]) -> bool:
    """Tell whether a row holds units: most of its filled cells are nothing else."""
    bare = [cell for cell in row if cell]
    known = sum(
        unit_of(cell) is not None or cell.strip("[]()") in ("-", "", "hh:mm:ss", "nm") for cell in bare
    )
    return known >= 1 and known >= 0.6 * len(bare)


def _spans(row: Sequence[str], width: int) -> bool:
    """Tell whether a row names groups of columns: names with gaps between them, as over x/y pairs."""
    named = [index for index, cell in enumerate(row[:width]) if cell]
    gaps = [b - a for a, b in pairwise(named)]
    return width >= 4 and len(named) >= 2 and min(gaps) >= 2 and named[-1] >= width - 3
