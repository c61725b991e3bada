"""What is due, when, and why."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from beadline.kit.looks import Kind
from beadline.settings import Settings

What = Literal["pulse test", "cycle limit", "storage", "review"]
WHAT_WORDS: dict[What, str] = {
    "pulse test": "Pulse test",
    "cycle limit": "Cycle limit",
    "storage": "Storage time",
    "review": "Campaign review",
}
SOON_DAYS = 30


@dataclass(frozen=True, slots=True)
class Intervals:
    """What this site allows a bed: days and cycles (0: any number) after a pulse test, days at rest."""

    pulse_test_days: int
    pulse_test_cycles: int
    storage_days: int

    @classmethod
    def of(cls, settings: Settings) -> Intervals:
        """Return what the settings say."""
        return cls(settings.pulse_test_days, settings.pulse_test_cycles, settings.storage_days)


@dataclass(frozen=True, slots=True, kw_only=True)
class Due:
    """One thing that is due.

    Attributes
    ----------
    key : str
        Stays the same while the day moves, so that a calendar moves its entry.
    on : date
        The day by which it is due; for a cycle limit the day at which the present pace reaches it.
    href : str
        Where it is done or seen, on this server.
    planned_id : int or None
        The planned campaign that asks for it, which can be called off.
    """

    key: str
    what: What
    bed: str
    on: date
    reason: str
    href: str
    planned_id: int | None = None

    def kind(self, today: date) -> Kind:
        """Return how it looks today: overdue, soon or later."""
        if self.on < today:
            return "act"
        return "watch" if (self.on - today).days <= SOON_DAYS else "ok"
