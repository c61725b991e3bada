"""What is read out of a sheet: a row for each run, with what could not be read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from beadline.reading.earlier.plan import SheetPlan


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a cell, or with the whole sheet, and how to mend it."""

    where: str
    said: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierRow:
    """A row of a sheet.

    Attributes
    ----------
    number : int
        Of the row in the file.
    left_out : str
        Why it is no run; empty for a run.
    cycle : int or None
    started : datetime or None
        Without a zone, unless the cell has one.
    day_only : bool
        Whether the time of day is unknown.
    batch, product, column, note : str
    values : mapping
        By role: hetp [m], plates, plates_per_length [1/m], reduced_hetp, asymmetry, mean [CV],
        variance [CV²], pressure_drop [Pa].
    problems : tuple of Problem
        Cells that can't be read.
    """

    number: int
    left_out: str = ""
    cycle: int | None = None
    started: datetime | None = None
    day_only: bool = False
    batch: str = ""
    product: str = ""
    column: str = ""
    note: str = ""
    values: Mapping[str, float]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class EarlierSheet:
    """A sheet of earlier results.

    Attributes
    ----------
    plan : SheetPlan
        How it was read.
    sheets : tuple of str
        The filled sheets of the file.
    rows : tuple of EarlierRow
        All rows below the one that names the columns, save blank ones.
    notes : tuple of str
        What was recognised, and by what.
    questions : tuple of Problem
        What must be answered before anything can be taken.
    """

    plan: SheetPlan
    sheets: tuple[str, ...]
    rows: tuple[EarlierRow, ...]
    notes: tuple[str, ...]
    questions: tuple[Problem, ...]
