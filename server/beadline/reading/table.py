"""Rows of text as arrays: pandas reads the numbers, and what it can't read is looked at cell by cell."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from beadline.reading import cells, clocks, layout
from beadline.reading.errors import UnreadableFile
from beadline.reading.profile import ColumnPlan
from beadline.reading.rows import Sorter, Where
from beadline.reading.trace import Floats
from beadline.reading.wording import counted, shown


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
    headings, tail : list
        See `rows.Sorter`.
    """

    lines: np.ndarray[tuple[int], np.dtype[np.int64]]
    where: Where
    numbers: dict[int, Floats] = field(default_factory=dict)
    marks: dict[int, list[tuple[int, str]]] = field(default_factory=dict)
    filled: dict[int, int] = field(default_factory=dict)
    last: dict[int, str] = field(default_factory=dict)
    bad: dict[int, np.ndarray[tuple[int], np.dtype[np.bool_]]] = field(default_factory=dict)
    words: dict[int, int] = field(default_factory=dict)
    headings: list[tuple[int, str]] = field(default_factory=list)
    tail: list[tuple[int, list[str]]] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def read(lines: Iterator[tuple[int, str]], plans: Sequence[ColumnPlan], sorter: Sorter) -> Table:
    """Read the rows of numbers among these lines.

    Raises
    ------
    UnreadableFile
        If a cell that should be a number holds something else.
    """
    wanted = [plan for plan in plans if plan.use != "ignored"]
    pieces: dict[int, list[Floats]] = {plan.index: [] for plan in wanted}
    table = Table(lines=np.empty(0, dtype=np.int64), where=sorter.where)
    numbers: list[np.ndarray[tuple[int], np.dtype[np.int64]]] = []
    rows = 0
    for line_numbers, kept in sorter.chunks(lines):
        columns = _chunk(kept, line_numbers, wanted, sorter, table)
        for plan in wanted:
            if plan.use == "mark":
                _add_marks(table, plan.index, columns[plan.index], rows)
            else:
                pieces[plan.index].append(columns[plan.index])
        numbers.append(np.array(line_numbers, dtype=np.int64))
        rows += len(kept)
    table.lines = np.concatenate(numbers) if numbers else table.lines
    for plan in wanted:
        whole = np.concatenate(parts) if (parts := pieces.pop(plan.index)) else np.empty(0)
        if plan.use == "quality":
            table.bad[plan.index] = whole > 0
        elif plan.use != "mark":
            table.numbers[plan.index] = whole
    table.headings, table.tail = sorter.headings, sorter.tail
    _say(table, sorter)
    return table


def _say(table: Table, sorter: Sorter) -> None:
    if sorter.repeated:
        table.notes.append(
            f"The header came again {counted(sorter.repeated, 'time')} between the numbers and was passed over."
        )
    if sorter.cut:
        table.notes.append(
            f"{counted(sorter.cut, 'line')} with fewer cells than the header has columns: what is missing is a gap."
        )


def _chunk(
    kept: list[str], line_numbers: list[int], wanted: list[ColumnPlan], sorter: Sorter, table: Table
) -> dict[int, Floats]:
    """Return a chunk's columns: numbers, seconds, 1 for bad; mark columns as text."""
    numeric = [plan.index for plan in wanted if plan.use in ("volume", "time", "signal")]
    text = "\n".join(kept)
    try:
        frame = _pandas(text, kept, wanted, sorter, numeric)
    except (ValueError, OverflowError):
        _refuse_open_quote(kept, line_numbers)
        frame = _pandas(text, kept, wanted, sorter, [])
    if len(frame) != len(kept):
        _refuse_open_quote(kept, line_numbers)
    out: dict[int, Floats] = {}
    for plan in wanted:
        column = frame[plan.index]
        if plan.use in ("volume", "time", "signal"):
            out[plan.index] = _numbers(column, plan, line_numbers, sorter, table)
        elif plan.use in ("clock", "date"):
            out[plan.index] = _times(column, plan, line_numbers, sorter)
        elif plan.use == "quality":
            out[plan.index] = (~column.str.lower().isin(cells.GOOD_WORDS | {""})).to_numpy(dtype=float)
        else:
            out[plan.index] = column.to_numpy(dtype=object)
    return out


def _pandas(
    text: str, kept: list[str], wanted: list[ColumnPlan], sorter: Sorter, numeric: list[int]
) -> pd.DataFrame:
    quoted = '"' in text
    cells_in = [_cells_in(line, sorter.delimiter, quoted=quoted) for line in kept]
    most = max(*cells_in, sorter.width)
    # pandas counts the columns on the first line
    text = kept[0] + sorter.delimiter * (most - cells_in[0]) + text[len(kept[0]) :]
    kinds = {plan.index: ("float64" if plan.index in numeric else "object") for plan in wanted}
    frame = pd.read_csv(
        io.StringIO(text),
        sep=sorter.delimiter,
        decimal=sorter.decimal,
        header=None,
        names=list(range(most)),
        usecols=list(kinds),
        dtype=kinds,
        keep_default_na=False,
        na_values={index: [""] for index in numeric},
        skipinitialspace=True,
        skip_blank_lines=False,
        index_col=False,
        quoting=0 if quoted else 3,
        engine="c",
        low_memory=False,
    )
    for index, kind in kinds.items():
        if kind == "object":
            frame[index] = frame[index].fillna("").astype(str).str.strip()
    return frame


def _refuse_open_quote(kept: list[str], line_numbers: list[int]) -> None:
    for number, line in zip(line_numbers, kept, strict=True):
        if line.count('"') % 2:
            raise UnreadableFile(
                "A quotation mark opens and never closes, so that lines run into each other.",
                where=f"line {number}",
                mend="Close or remove the quotation mark.",
                code="open-quote",
            )


def _cells_in(line: str, delimiter: str, *, quoted: bool) -> int:
    return len(layout.split(line, delimiter)) if quoted else line.count(delimiter) + 1


def _numbers(column: pd.Series, plan: ColumnPlan, lines: list[int], sorter: Sorter, table: Table) -> Floats:
    """Return numbers; of text, cell by cell: thousands in groups, words for missing values, or a refusal."""
    if column.dtype == float:
        values = column.to_numpy(dtype=float)
        if np.isinf(values).any():
            raise _not_a_number("inf", plan, lines[int(np.flatnonzero(np.isinf(values))[0])], sorter.where)
        return values
    pattern = cells.number_pattern(sorter.decimal)
    out = np.full(len(column), np.nan)
    for row, cell in enumerate(column.to_numpy(dtype=object)):
        if not cell:
            continue
        if pattern.fullmatch(cell):
            out[row] = cells.to_float(cell, sorter.decimal)
            if np.isinf(out[row]):
                raise _not_a_number(cell, plan, lines[row], sorter.where)
        elif cells.is_quality(cell) and plan.use == "signal":
            table.words[plan.index] = table.words.get(plan.index, 0) + 1
        else:
            raise _not_a_number(cell, plan, lines[row], sorter.where)
    return out


def _times(column: pd.Series, plan: ColumnPlan, lines: list[int], sorter: Sorter) -> Floats:
    texts = column.to_list()
    out = clocks.seconds(texts, plan.unit)
    strange = [row for row in np.flatnonzero(np.isnan(out)) if texts[row]]
    if strange:
        row = int(strange[0])
        raise UnreadableFile(
            f"The cell holds {shown(texts[row])}, which is not a time written as in the rest of the column ({plan.unit}).",
            where=sorter.where(lines[row], plan.index + 1, shown(plan.header)),
            mend="Correct the cell, or set how times are written in the reading profile.",
            code="text-in-number",
        )
    return out


def _add_marks(table: Table, index: int, texts: Floats, rows: int) -> None:
    marks = table.marks.setdefault(index, [])
    series = pd.Series(texts, dtype=object)
    filled = (series != "").to_numpy()
    table.filled[index] = table.filled.get(index, 0) + int(filled.sum())
    starts = filled & (series != series.shift(1, fill_value=table.last.get(index, ""))).to_numpy()
    marks.extend((rows + int(row), str(texts[row])) for row in np.flatnonzero(starts))
    table.last[index] = str(texts[-1])


def _not_a_number(cell: str, plan: ColumnPlan, line: int, where: Where) -> UnreadableFile:
    failed = cells.is_failed(cell)
    mend = "Leave the cell empty if there is no value, or correct it." if failed else "Correct the cell."
    if plan.use == "signal" and not failed:
        mend = "Correct the cell, or leave it empty if there is no value."
    return UnreadableFile(
        f"The cell holds {shown(cell)} where a number is needed.",
        where=where(line, plan.index + 1, shown(plan.header)),
        mend=mend,
        code="not-finite" if failed else "text-in-number",
    )
