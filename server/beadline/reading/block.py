"""Blocks of plain rows of numbers as columns, read by Arrow in one go."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from beadline.reading import parse
from beadline.reading.parse import Parsed, Words
from beadline.reading.profile import ColumnPlan
from beadline.reading.rows import Sorter
from beadline.reading.trace import Floats

_WORDS = ("mark", "quality")
_EMPTY = [" " * blanks for blanks in range(9)]
_LARGE = 2**20  # letters from which on threads pay


def quick(text: str, first: int, wanted: Sequence[ColumnPlan], sorter: Sorter) -> Parsed | None:
    """Read a block of lines that are all plain rows of numbers; None if any might be something else."""
    end = text.find("\n")
    head = text if end < 0 else text[:end]
    if not sorter.is_plain(head) or '"' in text:
        return None
    width = head.count(sorter.delimiter) + 1
    there = [plan for plan in wanted if plan.index < width]
    try:
        table = _arrow(text.encode(), width, there, sorter)
        out = Parsed(range(first, first + table.num_rows))
        for plan, column in zip(there, table.columns, strict=True):
            _take(column, plan, out, sorter)
    except ValueError:  # Arrow's and the refusals of single cells among them
        return None
    _fill_missing(out, [plan for plan in wanted if plan.index >= width])
    known = [np.isfinite(out.numbers[axis]) for axis in sorter.axes]
    return out if np.logical_or.reduce(known).all() else None


def _take(column: Any, plan: ColumnPlan, out: Parsed, sorter: Sorter) -> None:
    """Keep a column as what it is read as."""
    if plan.use in _WORDS:
        out.words[plan.index] = _words(column.combine_chunks())
    elif plan.use in ("clock", "date"):
        out.numbers[plan.index] = parse.times(
            [cell.strip() for cell in column.to_pylist()], plan, out, sorter
        )
    else:
        values = column.to_numpy()
        if np.isfinite(values).sum() + column.null_count != len(values):
            raise ValueError("a word such as NaN or inf stands among the numbers")
        out.numbers[plan.index] = values.copy()  # lets go of Arrow's memory


def _arrow(content: bytes, width: int, there: Sequence[ColumnPlan], sorter: Sorter) -> Any:
    """Return Arrow's table; ValueError if not all rows have as many cells, and numbers where these belong."""
    import pyarrow as pa  # here, since it would slow every start
    import pyarrow.csv

    kinds = {"clock": pa.string(), "date": pa.string()}
    kinds |= dict.fromkeys(_WORDS, pa.dictionary(pa.int32(), pa.string()))
    return pyarrow.csv.read_csv(
        pa.BufferReader(content),
        read_options=pyarrow.csv.ReadOptions(
            use_threads=len(content) > _LARGE,
            block_size=len(content) + 1,  # in one piece: no chunks to put together
            column_names=[str(index) for index in range(width)],
        ),
        parse_options=pyarrow.csv.ParseOptions(
            delimiter=sorter.delimiter, quote_char=False, ignore_empty_lines=False
        ),
        convert_options=pyarrow.csv.ConvertOptions(
            check_utf8=False,
            column_types={str(plan.index): kinds.get(plan.use, pa.float64()) for plan in there},
            include_columns=[str(plan.index) for plan in there],
            null_values=_EMPTY,
            decimal_point=sorter.decimal,
        ),
        memory_pool=pa.system_memory_pool(),  # Arrow's own keeps what it once had
    )


def _words(column: Any) -> Words:
    """Return a column of words; the same word with other blanks around it is the same."""
    names = [name.strip() for name in column.dictionary.to_pylist()]
    distinct = list(dict.fromkeys(names))
    codes = column.indices.to_numpy().astype(np.int64)
    if len(distinct) < len(names):
        codes = np.array([distinct.index(name) for name in names], dtype=np.int64)[codes]
    return Words(codes, tuple(distinct))


def _fill_missing(out: Parsed, missing: Sequence[ColumnPlan]) -> None:
    """Give the columns that the rows end before what empty cells would give."""
    rows = len(out.lines)
    for plan in missing:
        if plan.use in _WORDS:
            out.words[plan.index] = Words(np.zeros(rows, dtype=np.int64), ("",))
        else:
            gaps: Floats = np.full(rows, np.nan)
            out.numbers[plan.index] = gaps
