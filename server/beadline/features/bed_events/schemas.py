"""What can be done to a bed, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from beadline.store.tables import BedEvent

Family = Literal["cleaning", "maintenance"]
Kind = Literal[
    "cleaned in place",
    "sanitised",
    "storage solution changed",
    "adapter adjusted",
    "frit changed",
    "probe calibrated",
    "probe replaced",
    "pump serviced",
    "column levelled",
    "opened and inspected",
    "other work",
]
OTHER: Kind = "other work"
CLEANING: Mapping[str, str] = {
    "cleaned in place": "the bed was cleaned in place",
    "sanitised": "the bed was sanitised",
    "storage solution changed": "the storage solution was changed",
}
MAINTENANCE: Mapping[str, str] = {
    "adapter adjusted": "the adapter was adjusted",
    "frit changed": "a frit was changed",
    "probe calibrated": "a probe was calibrated",
    "probe replaced": "a probe was replaced",
    "pump serviced": "the pump was serviced",
    "column levelled": "the column was levelled",
    "opened and inspected": "the column was opened and inspected",
    OTHER: "other work was done",
}
SENTENCES = {**CLEANING, **MAINTENANCE}
CHOICES = [(kind, kind[:1].upper() + kind[1:]) for kind in SENTENCES]


@dataclass(frozen=True, slots=True, kw_only=True)
class EventFacts:
    """What somebody notes; `after_cycle` where the time alone does not say it, 0 before the first one."""

    kind: str
    happened_at: datetime
    after_cycle: int | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """An event and the cycle after which it took place; 0 before the first one."""

    event: BedEvent
    after_cycle: int

    @property
    def family(self) -> Family:
        """Whether the bed was cleaned or worked on."""
        return "cleaning" if self.event.kind in CLEANING else "maintenance"

    @property
    def name(self) -> str:
        """What was done, as a heading says it."""
        return self.event.kind[:1].upper() + self.event.kind[1:]
