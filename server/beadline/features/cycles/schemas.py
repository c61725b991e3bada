"""What somebody says of a run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from beadline.store.tables import Cycle

CameBy = Literal["page", "api", "demo"]
TYPED = "typed"  # the kind of profile of a cycle whose values were typed by hand, without a trace


def is_typed(cycle: Cycle) -> bool:
    """Tell whether a cycle's values were typed by hand, without a trace."""
    return bool(cycle.profile.get("kind") == TYPED)


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
