"""Rows that were sorted out line by line as columns; what pandas can't read is looked at cell by cell."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from beadline.reading import cells, clocks, delimiters
from beadline.reading.errors import UnreadableFile
from beadline.reading.profile import ColumnPlan
from beadline.reading.rows import Sorter, Where
from beadline.reading.trace import Floats
from beadline.reading.wording import shown

if TYPE_CHECKING:
    import pandas as pd

Lines = Sequence[int]
_NUMERIC = ("volume", "time", "signal")


@dataclass(frozen=True, slots=True)
class Words:
    """A column of words: for each row an index into the distinct ones."""

    codes: np.ndarray[tuple[int], np.dtype[np.int64]]
    names: tuple[str, ...]


@dataclass
class Parsed:
    """Columns of some rows, by their index: numbers, seconds, or words."""

    lines: Lines
    numbers: dict[int, Floats] = field(default_factory=dict)
    words: dict[int, Words] = field(default_factory=dict)
    missing: dict[int, int] = field(default_factory=dict)
    failed: dict[int, int] = field(default_factory=dict)


def careful(kept: list[str], lines: list[int], wanted: Sequence[ColumnPlan], sorter: Sorter) -> Parsed:
    """Read rows of numbers that have been sorted out line by line.

    Raises
    ------
    UnreadableFile
        If a cell that should be a number holds something else.
    """
    text = "\n".join(kept)
    quoted = '"' in text
    in_each = [
        len(delimiters.split(line, sorter.delimiter)) if quoted else line.count(sorter.delimiter) + 1
        for line in kept
    ]
    most = max(*in_each, sorter.width)
    try:
        frame = _pandas(text, most, in_each[0], wanted, sorter, strict=True)
    except (ValueError, OverflowError):
        _refuse_open_quote(kept, lines)
        frame = _pandas(text, most, in_each[0], wanted, sorter, strict=False)
    if len(frame) != len(kept):
        _refuse_open_quote(kept, lines)
    return _columns(frame, lines, wanted, sorter)


def _pandas(
    text: str, most: int, in_first: int, wanted: Sequence[ColumnPlan], sorter: Sorter, *, strict: bool
) -> pd.DataFrame:
    """Read text with pandas: columns of numbers as such if `strict`, else as text."""
    import pandas as pd  # here, since it would slow every start

    end = text.find("\n") if "\n" in text else len(text)
    padded = (
        text[:end] + sorter.delimiter * (most - in_first) + text[end:]
    )  # pandas counts columns on the first line
    kinds = {plan.index: _kind(plan, strict=strict) for plan in wanted}
    frame: pd.DataFrame = pd.read_csv(  # type: ignore[call-overload]  # its stubs want no kinds by column number
        io.StringIO(padded),
        sep=sorter.delimiter,
        decimal=sorter.decimal,
        header=None,
        names=list(range(most)),
        usecols=list(kinds),
        dtype=kinds,
        keep_default_na=False,
        na_values={index: [""] for index, kind in kinds.items() if kind == "float64"},
        skipinitialspace=True,
        skip_blank_lines=False,
        index_col=False,
        quoting=0 if '"' in text else 3,
        engine="c",
        low_memory=False,
    )
    return frame


def _kind(plan: ColumnPlan, *, strict: bool) -> str:
    if plan.use in ("mark", "quality"):
        return "category"
    return "float64" if strict and plan.use in _NUMERIC else "object"


def _columns(frame: pd.DataFrame, lines: Lines, wanted: Sequence[ColumnPlan], sorter: Sorter) -> Parsed:
    out = Parsed(lines)
    for plan in wanted:
        column = frame[plan.index]
        if plan.use in ("mark", "quality"):
            out.words[plan.index] = _words(column)
        elif column.dtype == float:
            out.numbers[plan.index] = _finite(column.to_numpy(dtype=float), plan, out, sorter.where)
        else:
            texts = [cell.strip() if isinstance(cell, str) else "" for cell in column]
            read = times if plan.use in ("clock", "date") else _numbers
            out.numbers[plan.index] = read(texts, plan, out, sorter)
    return out


def _words(column: pd.Series) -> Words:
    names = [str(name).strip() for name in column.cat.categories] + [""]
    return Words(
        column.cat.codes.to_numpy().astype(np.int64), tuple(names)
    )  # code -1 is the last name: no cell


def _finite(values: Floats, plan: ColumnPlan, out: Parsed, where: Where) -> Floats:
    """Return values with a gap where a signal is infinite; an axis must not be."""
    endless = np.isinf(values)
    if not endless.any():
        return values
    if plan.use != "signal":
        raise _not_a_number("inf", plan, out.lines[int(np.argmax(endless))], where)
    out.failed[plan.index] = out.failed.get(plan.index, 0) + int(endless.sum())
    return np.where(endless, np.nan, values)


def _numbers(texts: list[str], plan: ColumnPlan, out: Parsed, sorter: Sorter) -> Floats:
    """Return numbers of text, cell by cell: thousands in groups, words for missing values, or a refusal."""
    pattern = cells.number_pattern(sorter.decimal)
    may_miss = plan.use == "signal" or len(sorter.axes) > 1
    values = np.full(len(texts), np.nan)
    for row, cell in enumerate(texts):
        if not cell:
            continue
        if pattern.fullmatch(cell):
            values[row] = cells.to_float(cell, sorter.decimal)
        elif cells.is_quality(cell) and may_miss:
            out.missing[plan.index] = out.missing.get(plan.index, 0) + 1
        elif cells.is_failed(cell) and may_miss:
            out.failed[plan.index] = out.failed.get(plan.index, 0) + 1
        else:
            raise _not_a_number(cell, plan, out.lines[row], sorter.where)
    return _finite(values, plan, out, sorter.where)


def times(texts: list[str], plan: ColumnPlan, out: Parsed, sorter: Sorter) -> Floats:
    """Return a column of times [s].

    Raises
    ------
    UnreadableFile
        If a cell is not written as the column is.
    """
    seconds = clocks.seconds(texts, plan.unit)
    strange = [int(row) for row in np.flatnonzero(np.isnan(seconds)) if texts[row]]
    if strange:
        row = strange[0]
        raise UnreadableFile(
            f"The cell holds {shown(texts[row])}, not a time written as in the "
            f"rest of the column ({plan.unit}).",
            where=sorter.where(out.lines[row], plan.index + 1, shown(plan.header)),
            mend="Correct the cell, or set how times are written in the reading profile.",
            code="text-in-number",
        )
    return seconds


def _refuse_open_quote(kept: list[str], lines: list[int]) -> None:
    for number, line in zip(lines, kept, strict=True):
        if line.count('"') % 2:
            raise UnreadableFile(
                "A quotation mark opens and never closes, so that lines run into each other.",
                where=f"line {number}",
                mend="Close or remove the quotation mark.",
                code="open-quote",
            )


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
