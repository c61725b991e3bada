"""Which column is what, told from its header and from what stands below it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from beadline.reading import axes, cells, clocks
from beadline.reading.errors import UnreadableFile
from beadline.reading.profile import ColumnPlan, Use
from beadline.reading.sampled import SampledColumn, cells_below, sampled, under_pair
from beadline.reading.wording import shown

SIGNALS = ("conductivity", "uv", "ph", "pressure", "flow", "temperature")
ASSUMED = {"conductivity": "mS/cm", "uv": "mAU", "ph": "pH"}
_FLOWS = ("flow", "velocity", "bed volumes per time")
_ARTICLE = {"conductivity": "conductivity", "uv": "UV absorbance", "ph": "pH"}


@dataclass(frozen=True, slots=True)
class Guess:
    """What was recognised, and why."""

    plans: tuple[ColumnPlan, ...]
    notes: tuple[str, ...]


def recognise(
    header: Sequence[Sequence[str]],
    unit_row: int | None,
    sample: Sequence[Sequence[str]],
    *,
    decimal: str,
    width: int,
) -> Guess:
    """Guess what each column is.

    Raises
    ------
    UnreadableFile
        If a column's name and its unit contradict each other.
    """
    below = cells_below(sample, width)
    columns = [sampled(header, unit_row, below[index], index, decimal) for index in range(width)]
    columns = [under_pair(column, columns) for column in columns]
    planned = [_plan(column, columns) for column in columns]
    plans = _one_mark_column([plan for plan, _ in planned], columns)
    plans = axes.settle(_with_units_first(plans, columns), columns)
    plans = [
        replace(plan, header=plan.header or column.unit_cell)
        for plan, column in zip(plans, columns, strict=True)
    ]
    notes = [_note(column, *was, plan) for column, was, plan in zip(columns, planned, plans, strict=True)]
    return Guess(tuple(plans), tuple(note for note in notes if note))


def _note(column: SampledColumn, guessed: ColumnPlan, note: str, plan: ColumnPlan) -> str:
    """Return why a column is read as it is, also where a better axis or column of marks took its place."""
    if plan.use == guessed.use:
        return (
            note if plan.use != "ignored" or not column.header.written else f"{column.named} is passed over."
        )
    return f"{column.named} is passed over as {guessed.use}: another column serves better."


def _plan(column: SampledColumn, columns: Sequence[SampledColumn]) -> tuple[ColumnPlan, str]:
    """Return how a column is read and the sentence that says why."""
    header, plan = column.header, ColumnPlan(column.index, column.header.written, "ignored")
    kind = header.unit.kind if header.unit else ""
    if column.content in ("times", "dates"):
        form = clocks.form_of(column.sample, header.written)
        use: Use = "clock" if column.content == "times" else "date"
        said = "clock time" if use == "clock" else "date"
        return replace(
            plan, use=use, unit=form
        ), f"{column.named} is read as {said} ({form}), because its cells look like it."
    if column.content == "quality" or (header.kinds == ("quality",) and column.content == "numbers"):
        return replace(
            plan, use="quality"
        ), f"{column.named} is read as words that say whether values are good."
    if column.content == "text" and {cell.lower() for cell in column.sample} <= cells.SWITCH_WORDS:
        return plan, ""
    if column.content == "text" or (
        column.content == "numbers" and not header.unit and "mark" in header.kinds
    ):
        return replace(
            plan, use="mark"
        ), f"{column.named} is read as step marks, because it holds {_why_mark(column)}."
    if column.content == "nothing":
        marks = "mark" in header.kinds and not header.unit
        return (replace(plan, use="mark"), "") if marks else (plan, "")
    if kind in ("volume", "bed volumes", "time") and header.measured:
        _refuse_signal_in_axis_unit(column, columns)
        axis: Use = "time" if kind == "time" else "volume"
        text = header.unit.text if header.unit else ""
        return replace(
            plan, use=axis, unit=text
        ), f"{column.named} is read as {axis} in {text}, because of its unit."
    return _unitless_axis(column, plan) or _signal(column, plan)


def _why_mark(column: SampledColumn) -> str:
    return f"text such as {shown(column.sample[0])}" if column.content == "text" else "step numbers"


def _unitless_axis(column: SampledColumn, plan: ColumnPlan) -> tuple[ColumnPlan, str] | None:
    header = column.header
    if header.unit or any(kind in SIGNALS for kind in header.kinds) or not header.measured:
        return None
    if ("time" in header.kinds or "date" in header.kinds) and _is_day_numbers(column.sample):
        return replace(
            plan, use="time", unit="d"
        ), f"{column.named} is read as time in days, as spreadsheets count them."
    if ("time" in header.kinds or "date" in header.kinds) and (unit := _since_1970(column.sample)):
        said = f"{column.named} is read as time in {unit}, counted since 1970."
        return replace(plan, use="time", unit=unit), said
    if "volume" in header.kinds:
        return replace(plan, use="volume"), ""
    return (replace(plan, use="time"), "") if "time" in header.kinds else None


def _is_day_numbers(sample: Sequence[str]) -> bool:
    try:
        return all(30000 < float(cell.replace(",", ".")) < 80000 for cell in sample[:20])
    except ValueError:
        return False


def _since_1970(sample: Sequence[str]) -> str:
    """Return the unit of times counted since 1970, or nothing: seconds or milliseconds of this century."""
    try:
        values = [float(cell) for cell in sample[:20]]
    except ValueError:
        return ""
    for unit, least in (("s", 1e9), ("ms", 1e12)):
        if values and least <= min(values) and max(values) < 4 * least:
            return unit
    return ""


def _refuse_signal_in_axis_unit(column: SampledColumn, columns: Sequence[SampledColumn]) -> None:
    """A pressure in mL is a mistake, unless the name stands over an x/y pair and the next column has none."""
    header = column.header
    alone = (
        column.index + 1 < len(columns) and columns[column.index + 1].header.written == column.header.written
    )
    if not alone and header.kinds and set(header.kinds) <= set(SIGNALS) and header.unit:
        raise _wrong_dimension(column, header.kinds[0])


def _signal(column: SampledColumn, plan: ColumnPlan) -> tuple[ColumnPlan, str]:
    header, unit = column.header, column.header.unit
    if unit and unit.text == "nm":
        unit = None
    kinds = [kind for kind in header.kinds if kind in SIGNALS]
    plan = replace(plan, use="signal", quantity="other", unit=unit.text if unit else "")
    if not header.written and not unit:
        return replace(plan, use="ignored"), ""
    if not header.measured or (unit and unit.kind in ("percent", "mass flow", "mass")):
        return (
            plan,
            f"{column.named} is kept but not analysed: it is not a probe's reading in a unit that is used.",
        )
    if unit is None:
        return _assumed(column, plan, kinds)
    quantity = "flow" if unit.kind in _FLOWS else unit.kind
    if quantity not in SIGNALS:
        if kinds:
            raise _wrong_dimension(column, kinds[0])
        return (
            plan,
            f"{column.named} is kept but not analysed: {shown(unit.text)} is not "
            "a unit of a quantity that is used.",
        )
    if kinds and quantity not in kinds:
        raise _wrong_dimension(column, kinds[0])
    why = "its name and its unit agree" if kinds else f"{unit.text} is a unit of {_word(quantity)}"
    if quantity == "ph":
        return replace(
            plan, quantity=quantity, role=header.role
        ), f"{column.named} is read as pH, because of its name."
    said = f"{column.named} is read as {_word(quantity)} in {unit.text}, because {why}."
    return replace(
        plan,
        quantity=quantity,
        role=header.role if quantity in ("pressure", "conductivity", "uv", "ph") else "",
    ), said


def _assumed(column: SampledColumn, plan: ColumnPlan, kinds: list[str]) -> tuple[ColumnPlan, str]:
    """Take a signal without a unit: where only its shape counts, in the usual unit; else only kept."""
    header = column.header
    if not kinds:
        return (
            plan,
            f"{column.named} is kept but not analysed: neither its name nor a unit says what it measures.",
        )
    if kinds[0] in ASSUMED:
        unit, why = _usual_unit(column, kinds[0])
        said = f"{column.named} is read as {_word(kinds[0])} because of its name"
        said += "." if kinds[0] == "ph" else f"; {why}, and {unit} is assumed."
        role = header.role if kinds[0] != "ph" else ""
        return replace(plan, quantity=kinds[0], unit=unit, role=role), said
    return (
        plan,
        f"{column.named} has no unit, so it is kept but not used as "
        f"{_word(kinds[0])}; give its unit in the profile.",
    )


def _usual_unit(column: SampledColumn, kind: str) -> tuple[str, str]:
    """Return the unit to assume and why; no solution conducts more than about 1 S/cm (common practice)."""
    header = column.header
    if kind != "conductivity":
        return ASSUMED[kind], "it has no unit"
    if alone := re.search(r"[mµμu]S\b", header.written):
        unit = "mS/cm" if alone[0] == "mS" else "µS/cm"
        return unit, f"its unit is {shown(alone[0])} alone"
    largest = max(
        (cells.to_float(cell, ".") for cell in column.sample if cells.is_number(cell, ".")), default=0.0
    )
    return (
        ("µS/cm", "it has no unit and is too high for mS/cm")
        if largest > 1000
        else ("mS/cm", "it has no unit")
    )


def _word(quantity: str) -> str:
    return _ARTICLE.get(quantity, quantity)


def _wrong_dimension(column: SampledColumn, kind: str) -> UnreadableFile:
    unit = column.header.unit
    said = unit.text if unit else ""
    of = "" if unit is None or unit.kind == "another quantity" else f", which is a unit of {unit.kind}"
    return UnreadableFile(
        f"The column is named as {_word(kind)}, but its unit is {shown(said)}{of}.",
        where=f"column {column.index + 1} {shown(column.header.written)}",
        mend="Correct the header, or set the column's quantity and unit in the reading profile.",
        code="wrong-dimension",
    )


def _with_units_first(plans: list[ColumnPlan], columns: Sequence[SampledColumn]) -> list[ColumnPlan]:
    """Keep a column without a unit only where no other of its quantity has one: it may be raw counts."""
    sure = {plan.quantity for plan in plans if plan.use == "signal" and columns[plan.index].header.unit}
    return [
        replace(plan, quantity="other", unit="")
        if plan.quantity in sure & {"conductivity", "uv"} and not columns[plan.index].header.unit
        else plan
        for plan in plans
    ]


def _one_mark_column(plans: list[ColumnPlan], columns: Sequence[SampledColumn]) -> list[ColumnPlan]:
    """Keep the columns of marks that are named so; other text is one only if nothing better is there."""
    marks = [plan for plan in plans if plan.use == "mark"]
    named = [plan for plan in marks if "mark" in columns[plan.index].header.kinds]
    text = [plan for plan in named if columns[plan.index].content != "numbers"]
    keep = {plan.index for plan in (text or named or marks[:1])}
    return [
        plan if plan.use != "mark" or plan.index in keep else replace(plan, use="ignored") for plan in plans
    ]
