"""The form in which a site sets how its pulse tests are read and judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from beadline.boundary.deps import Session
from beadline.features.library.schemas import Field
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import Standard
from beadline.kit import forms
from beadline.kit.errors import Invalid
from beadline.store.tables import User

# a limit of the criteria: its name, and how its two fields are labelled
LIMITED = (
    ("reduced_plate_height", "Reduced plate height h"),
    ("plates_per_metre", "Plates per metre, 1/m"),
    ("asymmetry", "Asymmetry"),
    ("tailing_factor", "Tailing factor"),
    ("porosity", "Implied porosity"),
)
PERCENT = (
    ("asymmetry_level", "Asymmetry is read at", "of the height; 10 % is usual"),
    ("tailing_level", "Tailing factor is read at", "of the height; 5 % is usual"),
)
CONSTANTS = (("5.54", "5.54, as pharmacopoeias write it"), ("5.545", "5.545, nearer 8 ln 2"))
BASELINES = (("linear", "a straight line"), ("constant", "a level line"))
JUDGED = (("no", "as measured"), ("yes", "of the bed alone, injection and system taken off"))


def fields(session: Session) -> tuple[Field, ...]:
    """Return the form's fields, filled in with what holds now."""
    now = pulse_tests.standard.present(session)
    return (
        *(field for name, label in LIMITED for field in _pair(name, label, getattr(now.criteria, name))),
        *(
            Field(
                name=name,
                label=label,
                type="number",
                unit="%",
                hint=hint,
                value=f"{100 * getattr(now.settings, name):g}",
            )
            for name, label, hint in PERCENT
        ),
        Field(
            name="half_height_constant",
            label="Plates by half height",
            type="choice",
            options=CONSTANTS,
            value=f"{now.settings.half_height_constant:g}",
        ),
        Field(
            name="baseline",
            label="Line under the peak",
            type="choice",
            options=BASELINES,
            value=now.settings.baseline,
        ),
        Field(
            name="corrected",
            label="The values judged",
            type="choice",
            options=JUDGED,
            value="yes" if now.criteria.corrected else "no",
        ),
        Field(name="source", label="Source of the limits", value=now.criteria.source, required=True),
        Field(name="reason", label="Reason for the change", type="area", required=True),
    )


def _pair(name: str, label: str, limits: tuple[float | None, float | None]) -> tuple[Field, ...]:
    return tuple(
        Field(
            name=f"{name}_{side}",
            label=f"{label}, {side}",
            type="number",
            value="" if limit is None else f"{limit:g}",
        )
        for side, limit in zip(("lowest", "highest"), limits, strict=True)
    )


def add(session: Session, given: Mapping[str, str], by: User, at: datetime) -> object:
    """Keep what was given as the next version.

    Raises
    ------
    Invalid
        If a value can't be meant.
    """
    now = pulse_tests.standard.present(session)
    source = given.get("source", "").strip()
    if not source:
        mend = "Name the procedure, or write common practice."
        raise Invalid("Where the limits come from is missing.", where="source", mend=mend)
    limits: dict[str, Any] = {name: _limits(given, name) for name, _ in LIMITED}
    levels: dict[str, Any] = {name: _level(given, name) for name, _, _ in PERCENT}
    constant = forms.number(given.get("half_height_constant", ""), where="half_height_constant")
    try:
        wanted = Standard(
            criteria=replace(
                now.criteria, **limits, corrected=given.get("corrected") == "yes", source=source
            ),
            settings=replace(
                now.settings,
                **levels,
                half_height_constant=constant or now.settings.half_height_constant,
                baseline=given.get("baseline", "linear"),  # type: ignore[arg-type]  # checked by Settings
            ),
        )
    except ValueError as error:
        mend = "Check that each lowest is below its highest."
        raise Invalid(f"No test could be judged so: {error}.", where="criteria", mend=mend) from error
    return pulse_tests.standard.change(session, wanted, reason=given.get("reason", ""), by=by, at=at)


def _limits(given: Mapping[str, str], name: str) -> tuple[float | None, float | None]:
    low, high = (
        forms.number(given.get(f"{name}_{side}", ""), where=f"{name}_{side}")
        for side in ("lowest", "highest")
    )
    if low is not None and high is not None and not low < high:
        raise Invalid(
            "The lowest must be below the highest.", where=f"{name}_lowest", mend="Or leave a side empty."
        )
    return low, high


def _level(given: Mapping[str, str], name: str) -> float:
    percent = forms.number(given.get(name, ""), where=name)
    if percent is None or not 1 <= percent <= 90:
        raise Invalid("A height from 1 to 90 % is needed.", where=name, mend="10 and 5 % are usual.")
    return percent / 100
