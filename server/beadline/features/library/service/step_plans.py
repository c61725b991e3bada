"""Read a step plan as a person writes it."""

from __future__ import annotations

from typing import get_args

from beadline.kit import forms
from beadline.kit.errors import Invalid
from beadline.reading import PlannedTransition, Quantity


def read_transitions(text: str) -> list[PlannedTransition]:
    """Read a step plan's transitions: one a line, its parts parted by semicolons.

    Raises
    ------
    Invalid
        If a line can't be read; the message says which.

    Examples
    --------
    >>> [one.name for one in read_transitions("wash to strip; conductivity; Strip*; up")]
    ['wash to strip']
    """
    return [
        _transition(number, line) for number, line in enumerate(text.splitlines(), start=1) if line.strip()
    ]


def _transition(number: int, line: str) -> PlannedTransition:
    name, quantity, mark, direction, volume, *rest = [*(part.strip() for part in line.split(";")), *[""] * 4]
    mend = "Write: name; quantity; mark; up, down or either; switch in CV where there is no mark."
    if not name or quantity not in get_args(Quantity) or any(rest):
        raise Invalid(f"Line {number} can't be read: {line.strip()}", where="transitions", mend=mend)
    if direction not in ("", "up", "down", "either"):
        raise Invalid(f"Line {number} has the direction {direction!r}.", where="transitions", mend=mend)
    if not mark and not volume:
        said = f"Line {number} says neither a mark nor a volume, so its switch can't be found."
        raise Invalid(said, where="transitions", mend=mend)
    return PlannedTransition(
        name=name,
        quantity=quantity,  # type: ignore[arg-type]
        mark=mark or None,
        direction=direction or "either",  # type: ignore[arg-type]
        volume_cv=forms.number(volume, where="transitions"),
    )
