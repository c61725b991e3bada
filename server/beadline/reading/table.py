"""The rows below a header as whole columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from beadline.reading import block, cells, parse
from beadline.reading.profile import ColumnPlan
from beadline.reading.rows import Sorter, Where
from beadline.reading.trace import Floats
from beadline.reading.wording import counted


@dataclass
class Table:
    """Columns as arrays, by their index.

    Attributes
    ----------
    numbers : dict of int to ndarray
        Values as written; seconds for clock and date columns. NaN where the file has none.
    marks : dict of int to list of (int, str)
        Filled cells of a mark column, each with its row; repeats of the cell above are left out.
    filled : dict of int to int
        How many cells of a mark column are filled.
    last : dict of int to str
        The last cell of a mark column so far.
    bad : dict of int to ndarray
        Rows that a column of quality words calls bad.
    lines : ndarray
        Line number of each row.
    words : dict of int to int
        How many words for a missing value each column holds.
    failed : dict of int to int
        How many cells of each column hold what a failed calculation leaves, such as NaN.
    repeated, headings, tail
        See `rows.Sorter`.
    above : list of (int, list of str)
        Line numbers and cells of the preamble.
    log : sequence of (int, list of str)
        Line numbers and cells of a log of events that stands elsewhere.
    first : list of str
        Cells of the first row as written.
    """

    lines: np.ndarray[tuple[int], np.dtype[np.int64]]
    where: Where
    numbers: dict[int, Floats] = field(default_factory=dict)
    marks: dict[int, list[tuple[int, str]]] = field(default_factory=dict)
    filled: dict[int, int] = field(default_factory=dict)
    last: dict[int, str] = field(default_factory=dict)
    bad: dict[int, np.ndarray[tuple[int], np.dtype[np.bool_]]] = field(default_factory=dict)
    words: dict[int, int] = field(default_factory=dict)
    failed: dict[int, int] = field(default_factory=dict)
    repeated: int = 0
    headings: list[tuple[int, str]] = field(default_factory=list)
    tail: list[tuple[int, list[str]]] = field(default_factory=list)
    above: list[tuple[int, list[str]]] = field(default_factory=list)
    log: Sequence[tuple[int, list[str]]] = ()
    first: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def read(blocks: Iterable[tuple[int, str]], plans: Sequence[ColumnPlan], sorter: Sorter) -> Table:
    """Read the rows of numbers in these blocks of lines, each with the number of its first line.

    Raises
    ------
    UnreadableFile
        If a cell that should be a number holds something else.
    """
    wanted = [plan for plan in plans if plan.use != "ignored"]
    pieces: dict[int, list[Floats]] = {plan.index: [] for plan in wanted}
    table = Table(lines=np.empty(0, dtype=np.int64), where=sorter.where)
    numbers: list[np.ndarray[tuple[int], np.dtype[np.int64]]] = []
    for parsed in _parsed(blocks, wanted, sorter):
        rows = sum(len(lines) for lines in numbers)
        for index, words in parsed.words.items():
            _add_marks(table, index, words, rows)
            pieces[index].append(_bad(words))
        for index, values in parsed.numbers.items():
            pieces[index].append(values)
            table.words[index] = table.words.get(index, 0) + parsed.missing.get(index, 0)
            table.failed[index] = table.failed.get(index, 0) + parsed.failed.get(index, 0)
        numbers.append(_as_array(parsed.lines))
    table.lines = np.concatenate(numbers) if numbers else table.lines
    for plan in wanted:
        whole = np.concatenate(parts) if (parts := pieces.pop(plan.index)) else np.empty(0)
        if plan.use == "quality":
            table.bad[plan.index] = whole > 0
        elif plan.use != "mark":
            table.numbers[plan.index] = whole
    sorter.finish()
    table.headings, table.tail, table.repeated = sorter.headings, sorter.tail, sorter.repeated
    _say(table, sorter)
    return table


def _parsed(
    blocks: Iterable[tuple[int, str]], wanted: Sequence[ColumnPlan], sorter: Sorter
) -> Iterator[parse.Parsed]:
    """Yield the rows of each block, the quick way where all its lines are plain."""
    for first, text in blocks:
        plain = block.quick(text, first, wanted, sorter) if sorter.calm else None
        if plain is not None:
            sorter.rows += len(plain.lines)
            yield plain
            continue
        lines, kept = sorter.sort(first, text.split("\n"))
        if kept:
            yield parse.careful(kept, lines, wanted, sorter)


def _as_array(lines: Sequence[int]) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    if isinstance(lines, range):
        return np.arange(lines.start, lines.stop, dtype=np.int64)
    return np.array(lines, dtype=np.int64)


def _say(table: Table, sorter: Sorter) -> None:
    if sorter.repeated:
        times = counted(sorter.repeated, "time")
        table.notes.append(f"The header came again {times} between the numbers and was passed over.")
    if sorter.placeless:
        rows = counted(len(sorter.placeless), "row")
        table.notes.append(
            f"{rows} without a place on the axis passed over, the first on line {sorter.placeless[0][0]}."
        )
    if sorter.cut:
        lines = counted(sorter.cut, "line")
        table.notes.append(f"{lines} with fewer cells than the header has columns: what is missing is a gap.")


def _bad(words: parse.Words) -> Floats:
    """Return 1 for each row whose word is none of those that call a value good."""
    bad = np.array([float(bool(name) and name.lower() not in cells.GOOD_WORDS) for name in words.names])
    return bad[words.codes]


def _add_marks(table: Table, index: int, words: parse.Words, rows: int) -> None:
    """Note the rows where a filled cell differs from the cell above."""
    marks, before = table.marks.setdefault(index, []), table.last.get(index, "")
    filled = np.array([bool(name) for name in words.names])[words.codes]
    table.filled[index] = table.filled.get(index, 0) + int(filled.sum())
    starts = np.concatenate([[words.names[words.codes[0]] != before], np.diff(words.codes) != 0])
    marks.extend((rows + int(row), words.names[words.codes[row]]) for row in np.flatnonzero(filled & starts))
    table.last[index] = words.names[words.codes[-1]]
