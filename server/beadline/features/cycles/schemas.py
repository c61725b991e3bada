"""What somebody says of a run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from beadline.store.tables import Cycle

CameBy = Literal["page", "api", "demo"]
TYPED = "typed"  # the kind of profile of a cycle whose values were typed by hand, without a trace


def is_typed(cycle: Cycle) -> bool:
    """Tell whether a cycle's values were typed by hand, without a trace."""
    return bool(cycle.profile.get("kind") == TYPED)


def values_from(cycle: Cycle) -> str:
    """Say where a cycle's values are from: its trace, somebody's keyboard or a sheet of earlier results."""
    if not is_typed(cycle):
        return "trace"
    return "earlier results" if source_of(cycle) else "typed by hand"


def source_of(cycle: Cycle) -> dict[str, Any] | None:
    """Return file, trace and row of a sheet from which a cycle's values are; None if they are from none."""
    return cycle.profile.get("source") if is_typed(cycle) else None


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """What the person or program that logs a run knows of it; what is None is filled in.

    With `another_run` it is a run of its own although its signals are those of a recorded one.
    """

    batch: str = ""
    started_at: datetime | None = None
    number: int | None = None
    note: str = ""
    another_run: bool = False
