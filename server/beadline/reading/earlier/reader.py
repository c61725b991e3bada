"""Read a sheet of earlier results."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from beadline.reading.earlier import days, figures, headings
from beadline.reading.earlier.grid import Grid, grids
from beadline.reading.earlier.plan import ROLES, UNITS, VALUES, ColumnUse, SheetPlan
from beadline.reading.earlier.rows import EarlierRow, EarlierSheet, Problem
from beadline.reading.units import factor_to
from beadline.reading.wording import counted, shown

Correct = Callable[[SheetPlan], SheetPlan]


def read(content: bytes, filename: str, *, sheet: str = "", correct: Correct | None = None) -> EarlierSheet:
    """Read a workbook or delimited text that holds the results of a run in each row.

    Parameters
    ----------
    content : bytes
    filename : str
        For messages only.
    sheet : str
        Name of the sheet; the one that looks most like it if empty.
    correct : callable, optional
        Takes the plan as recognised and returns it as a person wants it.

    Raises
    ------
    UnreadableFile
        If the file can't be read, or no row names the columns.
    """
    found = grids(content, filename)
    plan = headings.plan_of(found, filename, sheet=sheet)
    plan = correct(plan) if correct else plan
    grid = next(one for one in found if one.sheet == plan.sheet)
    below = [(number, cells) for number, cells in grid.rows if number > plan.header_row]
    marks = _marks(plan, [cells for _, cells in below])
    names = next(cells for number, cells in grid.rows if number == plan.header_row)
    rows = tuple(_row(number, cells, names, plan, marks) for number, cells in below)
    told = plan if plan.day_order else SheetPlan(plan.sheet, plan.header_row, plan.columns, marks.day_order)
    sheets = tuple(one.sheet for one in found if one.sheet)
    return EarlierSheet(told, sheets, rows, _notes(grid, plan, marks), _questions(plan, rows, marks))


@dataclass(frozen=True, slots=True)
class _Marks:
    """What the whole of a column, or of the sheet, tells of each cell."""

    factors: Mapping[str, float | None]
    commas: Mapping[str, str]
    day_order: str
    day_told_by: str


def _marks(plan: SheetPlan, below: Sequence[Sequence[str]]) -> _Marks:
    used = [one for one in plan.columns if one.role in VALUES]
    whole = figures.comma_of([cell for one in used for cell in _cells(one, below)])
    dates = next((one for one in plan.columns if one.role == "date"), None)
    order, told_by = days.order_of(_cells(dates, below)) if dates else ("", "")
    return _Marks(
        {one.role: _factor(one) for one in used},
        {one.role: figures.comma_of(_cells(one, below)) or whole for one in used},
        plan.day_order or order,
        "somebody said so" if plan.day_order else told_by,
    )


def _cells(column: ColumnUse, below: Sequence[Sequence[str]]) -> list[str]:
    return [row[column.index] for row in below if column.index < len(row) and row[column.index]]


def _factor(column: ColumnUse) -> float | None:
    """Return by what a column's numbers are multiplied; None where its unit is not known or not fitting."""
    if column.role == "hetp":
        return factor_to(column.unit, "m")
    if column.role == "pressure_drop":
        return factor_to(column.unit, "Pa")
    if column.role == "plates_per_length":
        length = factor_to(column.unit.lower().rpartition("/")[2], "m")
        return 1 / length if length else None
    if column.role in ("mean", "variance"):
        return 1.0 if column.unit.upper().replace("2", "²") == UNITS[column.role][0] else None
    return 1.0


def _row(
    number: int, cells: Sequence[str], names: Sequence[str], plan: SheetPlan, marks: _Marks
) -> EarlierRow:
    texts = {one.role: cells[one.index] for one in plan.columns if one.index < len(cells)}
    left_out = _left_out(cells, names, texts)
    if left_out:
        return EarlierRow(number=number, left_out=left_out, values={})
    problems: list[Problem] = []
    values = _values(plan, texts, marks, problems)
    cycle = _cycle(texts.get("cycle", ""), problems)
    day = days.Day(None)
    if not figures.is_nothing(texts.get("date", "")):
        day = days.with_clock(days.day_of(texts["date"], marks.day_order), texts.get("clock", ""))
        if day.why_not:
            problems.append(Problem("date", f"{day.why_not}.", day.mend))
    plain = {role: texts.get(role, "") for role in ("batch", "product", "column", "note")}
    return EarlierRow(
        number=number,
        cycle=cycle,
        started=day.moment,
        day_only=day.day_only,
        values=values,
        problems=tuple(problems),
        **{role: "" if figures.is_nothing(text) else text for role, text in plain.items()},
    )


def _left_out(cells: Sequence[str], names: Sequence[str], texts: Mapping[str, str]) -> str:
    filled = [cell for cell in cells if cell]
    if [cell.casefold() for cell in filled] == [name.casefold() for name in names if name]:
        return "the names of the columns again"
    if headings.is_unit_row(cells):
        return "units"
    if len(filled) == 1 and len(names) > 1 and not filled[0].isdecimal():
        return f"a title, {shown(filled[0])}"
    if all(figures.is_nothing(texts.get(role, "")) for role in VALUES):
        return "no value in it"
    return ""


def _values(
    plan: SheetPlan, texts: Mapping[str, str], marks: _Marks, problems: list[Problem]
) -> dict[str, float]:
    values = {}
    for one in plan.columns:
        text = texts.get(one.role, "")
        if one.role not in VALUES or figures.is_nothing(text):
            continue
        value, why_not = figures.figure_of(text, marks.commas[one.role])
        factor = marks.factors[one.role]
        if value is None:
            mend = "Write the number with a point or a comma alone, as 0.031; leave the cell empty for none."
            problems.append(Problem(ROLES[one.role], f"{why_not}.", mend))
        elif factor is not None:
            values[one.role] = float(f"{value * factor:.12g}")
    return values


def _cycle(text: str, problems: list[Problem]) -> int | None:
    if figures.is_nothing(text):
        return None
    value, _ = figures.figure_of(text.lstrip("#").strip(), "thousands")
    if value is None or value != int(value):
        problems.append(
            Problem("cycle number", f"{shown(text)} is no whole number.", "Write the cycle's number alone.")
        )
        return None
    return int(value)


def _notes(grid: Grid, plan: SheetPlan, marks: _Marks) -> tuple[str, ...]:
    used = ", ".join(
        f"{shown(one.header)} as {ROLES[one.role]}{f' in {one.unit}' if one.unit else ''}"
        for one in plan.columns
        if one.role != "ignored"
    )
    notes = [f"Row {plan.header_row} names the columns: {used}."]
    unused = [shown(one.header) for one in plan.columns if one.role == "ignored" and one.header]
    if unused:
        notes.append(f"Not used: {', '.join(unused)}.")
    if grid.blank:
        notes.append(f"{counted(grid.blank, 'blank row')} left out.")
    if marks.day_order:
        notes.append(
            f"Dates such as 03/04/2019 have the {marks.day_order.split()[0]} first: {marks.day_told_by}."
        )
    return tuple(notes)


def _questions(plan: SheetPlan, rows: Sequence[EarlierRow], marks: _Marks) -> tuple[Problem, ...]:
    questions = []
    for one in plan.columns:
        if one.role in VALUES and marks.factors[one.role] is None:
            offered = ", ".join(UNITS[one.role])
            told = f"{shown(one.unit)} is no unit of {ROLES[one.role]}" if one.unit else "It has no unit"
            said = f"In which unit is the column {shown(one.header)}? {told}."
            questions.append(Problem(f"column {one.index + 1}", said, f"Choose one of {offered}."))
    unclear = next(
        (p for row in rows for p in row.problems if p.where == "date" and " or the " in p.said), None
    )
    if unclear is not None:
        questions.append(
            Problem("date", f"Does the day or the month come first? {unclear.said}", "Choose day_order.")
        )
    if not any(one.role in VALUES for one in plan.columns):
        questions.append(
            Problem(
                "columns", "No column holds a result.", "Say which column holds plate height or asymmetry."
            )
        )
    return tuple(questions)
