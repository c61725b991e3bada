"""A step plan's transitions, from the rows of fields in which a person writes them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import get_args

from beadline.features.step_plans.schemas import Written
from beadline.kit import forms
from beadline.kit.errors import Invalid
from beadline.reading import PlannedTransition, Quantity

MOST_ROWS = 12
HOWS = ("mark", "volume", "step")
DIRECTIONS = ("up", "down", "either")
_NAMES = tuple(field.name for field in fields(Written))


def read_rows(given: Mapping[str, str]) -> tuple[Written, ...]:
    """Return the rows of a form as they were written, with the empty ones."""
    places = range(MOST_ROWS)
    return tuple(
        Written(**{name: given[f"t{place}_{name}"].strip() for name in _NAMES if f"t{place}_{name}" in given})
        for place in places
        if f"t{place}_name" in given
    )


def rows_of(plan: Sequence[PlannedTransition]) -> tuple[Written, ...]:
    """Return a plan as rows of a form."""
    return tuple(
        Written(
            name=one.name,
            quantity=one.quantity,
            how="mark" if one.mark else "volume" if one.volume_cv is not None else "step",
            mark=one.mark or "",
            occurrence=str(one.occurrence),
            volume_cv="" if one.volume_cv is None else f"{one.volume_cv:g}",
            direction=one.direction,
            start_cv=f"{one.start_cv:g}",
            end_cv=f"{one.end_cv:g}",
        )
        for one in plan
    )


def planned(rows: Sequence[Written]) -> tuple[PlannedTransition, ...]:
    """Return the transitions that rows of fields name; rows without a name count as empty.

    Raises
    ------
    Invalid
        If a row can't be meant; `where` names its field, such as t0_mark.
    """
    return tuple(_planned(row, f"t{place}_") for place, row in enumerate(rows) if row.name)


def _planned(row: Written, field: str) -> PlannedTransition:
    _known(row.quantity, get_args(Quantity), "quantity", f"{field}quantity")
    _known(row.how, HOWS, "way to find the switch", f"{field}how")
    _known(row.direction, DIRECTIONS, "direction", f"{field}direction")
    if row.how == "mark" and not row.mark:
        raise Invalid(
            "The mark is missing.", where=f"{field}mark", mend="Write the step's name, or find it otherwise."
        )
    volume = forms.number(row.volume_cv, where=f"{field}volume_cv") if row.how == "volume" else None
    if row.how == "volume" and (volume is None or volume < 0):
        mend = "Write where the switch is, in CV from the start of the trace."
        raise Invalid("The volume of the switch is missing.", where=f"{field}volume_cv", mend=mend)
    occurrence = forms.whole(row.occurrence, where=f"{field}occurrence")
    if occurrence is not None and occurrence < 1:
        raise Invalid("The first one is number 1.", where=f"{field}occurrence", mend="Count from 1.")
    start = _cv(row.start_cv, -0.2, f"{field}start_cv")
    end = _cv(row.end_cv, 2.0, f"{field}end_cv")
    if end <= max(start, 0.0):
        mend = "Let the window run past the switch."
        raise Invalid("The window ends before the switch.", where=f"{field}end_cv", mend=mend)
    return PlannedTransition(
        name=row.name[:80],
        quantity=row.quantity,  # type: ignore[arg-type]
        mark=row.mark if row.how == "mark" else None,
        occurrence=occurrence or 1,
        start_cv=start,
        end_cv=end,
        direction=row.direction,  # type: ignore[arg-type]
        volume_cv=volume,
    )


def _known(value: str, known: Sequence[str], what: str, where: str) -> None:
    if value not in known:
        raise Invalid(f"{value!r} is no {what}.", where=where, mend=f"Choose {', '.join(known)}.")


def _cv(text: str, usual: float, where: str) -> float:
    value = forms.number(text, where=where)
    if value is None:
        return usual
    if not -50 <= value <= 200:
        raise Invalid(f"{value:g} CV can't be meant.", where=where, mend="Give it in column volumes.")
    return value
