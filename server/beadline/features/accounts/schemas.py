"""Roles, and what each may do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

Role = Literal["viewer", "operator", "engineer", "quality", "administrator"]
Deed = Literal[
    "look",
    "see what is due",
    "log a run",
    "correct runs",
    "acknowledge",
    "change library",
    "set baseline",
    "recompute",
    "change notices",
    "review a campaign",
    "approve a campaign",
    "review records",
    "manage people",
]

MAY: dict[Role, frozenset[Deed]] = {
    "viewer": frozenset({"look", "see what is due"}),
    "operator": frozenset({"look", "see what is due", "log a run", "acknowledge"}),
    "engineer": frozenset(
        {
            "look",
            "see what is due",
            "log a run",
            "correct runs",
            "acknowledge",
            "change library",
            "set baseline",
            "recompute",
            "change notices",
            "review a campaign",
        }
    ),
    "quality": frozenset(
        {"look", "see what is due", "acknowledge", "set baseline", "approve a campaign", "review records"}
    ),
    "administrator": frozenset({"look", "see what is due", "recompute", "change notices", "manage people"}),
}
ROLES: tuple[Role, ...] = tuple(MAY)


def deeds_of(role: str) -> frozenset[str]:
    """Return what a role may do; nothing if the role is unknown.

    Examples
    --------
    >>> sorted(deeds_of("viewer"))
    ['look', 'see what is due']
    """
    return next((frozenset[str](deeds) for known, deeds in MAY.items() if known == role), frozenset())


def who_may() -> tuple[tuple[str, tuple[bool, ...]], ...]:
    """Return every deed with whether each role, in the order of `ROLES`, may do it."""
    return tuple((deed, tuple(deed in MAY[role] for role in ROLES)) for deed in get_args(Deed))


CALENDAR = "calendar"
TOKEN_SCOPES: dict[str, str] = {
    "look": "read only",
    CALENDAR: "the calendar alone; may stand in an address",
    "log runs": "read, and log runs",
    "all": "everything that its owner may do",
}
_DEEDS_OF_SCOPE: dict[str, frozenset[str]] = {
    "look": frozenset({"look", "see what is due"}),
    CALENDAR: frozenset({"see what is due"}),
    "log runs": frozenset({"look", "see what is due", "log a run"}),
}


def within(deeds: frozenset[str], scope: str) -> frozenset[str]:
    """Return what a token lets its owner's program do: never more than the owner may.

    Examples
    --------
    >>> sorted(within(deeds_of("operator"), "log runs"))
    ['log a run', 'look', 'see what is due']
    >>> sorted(within(deeds_of("viewer"), "log runs")), sorted(within(deeds_of("engineer"), CALENDAR))
    (['look', 'see what is due'], ['see what is due'])
    """
    return deeds & _DEEDS_OF_SCOPE.get(scope, deeds)


@dataclass(frozen=True, slots=True)
class NewSignIn:
    """A browser's fresh session: the token goes into its cookie and is nowhere else."""

    token: str
    csrf_token: str
