"""Roles, and what each may do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Role = Literal["viewer", "operator", "engineer", "quality", "administrator"]
Deed = Literal["look", "log a run", "acknowledge", "change library", "set baseline", "manage people"]

MAY: dict[Role, frozenset[Deed]] = {
    "viewer": frozenset({"look"}),
    "operator": frozenset({"look", "log a run", "acknowledge"}),
    "engineer": frozenset({"look", "log a run", "acknowledge", "change library", "set baseline"}),
    "quality": frozenset({"look", "acknowledge"}),
    "administrator": frozenset({"look", "manage people"}),
}
ROLES: tuple[Role, ...] = tuple(MAY)


def deeds_of(role: str) -> frozenset[str]:
    """Return what a role may do; nothing if the role is unknown.

    Examples
    --------
    >>> sorted(deeds_of("viewer"))
    ['look']
    """
    return next((frozenset[str](deeds) for known, deeds in MAY.items() if known == role), frozenset())


@dataclass(frozen=True, slots=True)
class NewSignIn:
    """A browser's fresh session: the token goes into its cookie and is nowhere else."""

    token: str
    csrf_token: str
