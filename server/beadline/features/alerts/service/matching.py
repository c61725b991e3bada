"""Which alert tells of which event of a bed, however the events are numbered after a life was judged anew."""

from __future__ import annotations

from collections.abc import Sequence

from beadline.features.drift.schemas import Judged
from beadline.store.tables import Alert

Span = tuple[int, int]


def matched(alerts: Sequence[Alert], judged: Sequence[Judged]) -> dict[int, Alert]:
    """Return the alert of each event that has one, by the event's number.

    An alert belongs to the event with which it shares the most cycles, from the one that opened it to the
    last in which it was open. Numbers alone would not do: under another baseline, or without a voided cycle,
    an event may not be there, and all later ones count differently.
    """
    pairs = [
        (-shared, alert.episode != number, alert.id, number, alert)
        for number, span in spans(judged).items()
        for alert in alerts
        if (shared := _shared(span, (alert.raised_by_cycle.number, alert.latest_cycle.number))) > 0
    ]
    found: dict[int, Alert] = {}
    taken: set[int] = set()
    for *_, number, alert in sorted(pairs, key=lambda pair: pair[:4]):
        if number not in found and alert.id not in taken:
            found[number] = alert
            taken.add(alert.id)
    return found


def spans(judged: Sequence[Judged]) -> dict[int, Span]:
    """Return the first and the last cycle in which each event was open, by its number."""
    found: dict[int, Span] = {}
    for one in judged:
        if (event := one.judgement.alert) is not None:
            found[event.episode] = (event.opened, one.cycle.number)
    return found


def _shared(one: Span, other: Span) -> int:
    return min(one[1], other[1]) - max(one[0], other[0]) + 1
