"""Where events lie among the cycles, and which lie near a change."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from beadline.features.bed_events.schemas import SENTENCES, Placed
from beadline.store.tables import BedEvent

MOST_NAMED = 3


def placed(events: Iterable[BedEvent], starts: Sequence[tuple[int, datetime]]) -> tuple[Placed, ...]:
    """Say after which cycle each event took place: what was noted, else the last that began before it.

    Parameters
    ----------
    starts : sequence of (number, datetime)
        Number and start of each cycle.
    """
    return tuple(Placed(event, _after(event, starts)) for event in events)


def _after(event: BedEvent, starts: Sequence[tuple[int, datetime]]) -> int:
    if event.after_cycle is not None:
        return event.after_cycle
    return max((number for number, started_at in starts if started_at < event.happened_at), default=0)


def noted_near(events: Iterable[Placed], *, since: int, low: int, high: int) -> str:
    """Say what was done about when a bed began to change; empty if nothing is noted.

    Parameters
    ----------
    since : int
        First cycle that is different, as the change point has it.
    low, high : int
        The cycles between which that lies; one cycle more at either end counts as near.
    """
    near = [one for one in events if low - 1 <= one.after_cycle + 1 <= high + 1]
    near.sort(key=lambda one: (abs(one.after_cycle + 1 - since), one.after_cycle))
    if not near:
        return ""
    said = [f"{SENTENCES[one.event.kind]} before cycle {one.after_cycle + 1}" for one in near[:MOST_NAMED]]
    more = f", and {len(near) - MOST_NAMED} more" if len(near) > MOST_NAMED else ""
    return f"Noted about then: {'; '.join(said)}{more}."
