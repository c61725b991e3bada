"""Columns that say where a row belongs: one of each kind for all, or one for each signal."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from beadline.reading.profile import ColumnPlan
from beadline.reading.sampled import SampledColumn
from beadline.reading.units import unit_of

_UNIT = re.compile(r"[\[({<].*|/.*|_[^_]*$", re.DOTALL)


def settle(plans: list[ColumnPlan], columns: Sequence[SampledColumn]) -> list[ColumnPlan]:
    """Settle which columns are axes: one of each kind for all, or one for each signal."""
    for use in ("volume", "time", "clock"):
        same = [plan for plan in plans if plan.use == use]
        if len(same) > 1 and _are_pairs(plans, same, columns):
            return _paired(plans, {plan.index for plan in same})
    plans = _with_events_beside(plans, columns)
    if any(plan.axis is not None for plan in plans):
        return plans
    for use in ("volume", "time", "clock", "date"):
        same = [plan for plan in plans if plan.use == use]
        for plan in same:
            if plan is not min(same, key=lambda one: _rank(columns[one.index])):
                other = (
                    replace(plan, use="signal", quantity="other")
                    if use in ("volume", "time")
                    else replace(plan, use="ignored")
                )
                plans[plan.index] = other
    return plans


def _are_pairs(plans: list[ColumnPlan], same: list[ColumnPlan], columns: Sequence[SampledColumn]) -> bool:
    followed = all(
        plan.index + 1 < len(plans) and plans[plan.index + 1].use in ("signal", "mark") for plan in same
    )
    if not followed or same[0].index != min(
        plan.index for plan in plans if plan.use in ("volume", "time", "clock")
    ):
        return False
    if len({unit.kind if (unit := unit_of(plan.unit)) else plan.unit for plan in same}) > 1:
        return False
    names = {_UNIT.sub("", columns[plan.index].header.written.lower()).strip() for plan in same}
    own = [_of_a_signal(columns[plan.index], columns[plan.index + 1]) for plan in same]
    return len(names) == 1 or all(own)


def _with_events_beside(plans: list[ColumnPlan], columns: Sequence[SampledColumn]) -> list[ColumnPlan]:
    """Give a short list of events beside the table its own places; where it has none, pass it over."""
    for use in ("volume", "time", "clock"):
        same = [plan for plan in plans if plan.use == use]
        fullest = max((len(columns[plan.index].sample) for plan in plans if plan.use != "mark"), default=0)
        short = [
            plan
            for plan in same
            if 2 * len(columns[plan.index].sample) <= fullest
            and plan.index + 1 < len(plans)
            and plans[plan.index + 1].use == "mark"
        ]
        whole = [plan for plan in same if plan not in short]
        if short and whole:
            main = min(whole, key=lambda one: _rank(columns[one.index]))
            return _paired(plans, {main.index, *(plan.index for plan in short)})
        for plan in short:
            plans[plan.index] = replace(plan, use="ignored")
            plans[plan.index + 1] = replace(plans[plan.index + 1], use="ignored")
    return plans


def _of_a_signal(axis: SampledColumn, signal: SampledColumn) -> bool:
    """Tell whether an axis is named after the signal beside it, or stands under the pair's name."""
    axis_words = set(axis.header.written.lower().replace("_", " ").split())
    signal_words = set(signal.header.written.lower().replace("_", " ").split())
    numbered = any(letter.isdigit() for letter in axis.header.written)
    return (
        not signal_words
        or bool(axis_words & signal_words)
        or bool(set(axis.header.kinds) & set(signal.header.kinds))
        or numbered
    )


def _paired(plans: list[ColumnPlan], axes: set[int]) -> list[ColumnPlan]:
    """Give each signal the axis to its left; the pair's name belongs to the signal."""
    out, axis = [], None
    for plan in plans:
        if plan.index in axes:
            axis = plan.index
            out.append(plan)
        elif plan.use in ("signal", "mark", "quality"):
            header = plan.header or (plans[axis].header if axis is not None else "")
            out.append(replace(plan, axis=axis, header=header))
        else:
            out.append(plan)
    return out


def _rank(column: SampledColumn) -> tuple[bool, bool, bool, bool, int]:
    """Order axes of one kind: with a unit before without, of the whole run before of a step, mL before CV."""
    unit = column.header.unit
    return (
        unit is None and column.content == "numbers",
        "mark" in column.header.kinds,
        bool(unit and unit.kind == "bed volumes"),
        _stands_still(column),
        column.index,
    )


def _stands_still(column: SampledColumn) -> bool:
    """Tell whether many rows repeat the one above: a volume of one step that was loaded, say."""
    pairs = list(pairwise(column.sample))
    return len(pairs) >= 8 and sum(a == b for a, b in pairs) > 0.2 * len(pairs)
