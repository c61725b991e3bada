"""What happened to a bed, in order of time, each in its place among the cycles."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from beadline.features.overview.schemas import Event
from beadline.features.overview.service.story import Story

MARK_OF_FAMILY = {"cleaning": "≈", "maintenance": "+"}


def timeline(story: Story) -> tuple[Event, ...]:
    """Return packing, pulse tests, cleaning, maintenance, baseline, alerts and unpacking of a bed."""
    found = [*_packed(story), *_tested(story), *done_to(story), *_judged(story)]
    return tuple(sorted(found, key=lambda event: (event.at, event.place)))


def events_of_cycles(story: Story) -> tuple[str, ...]:
    """Say what happened in each cycle or after it; what came before the first one goes with the first."""
    numbers = [cycle.number for cycle in story.cycles]
    found: dict[int, list[str]] = {}
    for event in timeline(story):
        found.setdefault(max([event.cycle, *numbers[:1]]), []).append(event.written)
    return tuple("; ".join(found.get(number, ())) for number in numbers)


def _packed(story: Story) -> Iterator[Event]:
    packing = story.packing
    first = story.cycles[0].number if story.cycles else 1
    yield Event(
        at=packing.packed_at,
        cycle=first - 1,
        between=True,
        mark="□",
        label="Packed",
        detail=f"{packing.bed_height_mm / 10:g} cm, lot {packing.lot.lot_number}",
    )
    if packing.unpacked_at:
        last = story.cycles[-1].number if story.cycles else 0
        yield Event(at=packing.unpacked_at, cycle=last, between=True, mark="□", label="Unpacked")


def _tested(story: Story) -> Iterator[Event]:
    for test in story.tests:
        yield Event(
            at=test.performed_at,
            cycle=_last_before(story, test.performed_at),
            between=True,
            mark="△",
            label="Pulse test",
            detail=test.verdict,
        )


def _last_before(story: Story, at: datetime) -> int:
    return max((c.number for c in story.cycles if c.started_at < at), default=0)


def done_to(story: Story) -> Iterator[Event]:
    """Yield cleaning and maintenance."""
    for one in story.events:
        yield Event(
            at=one.event.happened_at,
            cycle=one.after_cycle,
            between=True,
            mark=MARK_OF_FAMILY[one.family],
            label=one.name,
            detail=one.event.note,
        )


def _judged(story: Story) -> Iterator[Event]:
    """Return the end of the baseline, and each alert with the cycle that raised it."""
    last = story.baseline[-1] if story.baseline else None
    numbers = {cycle.id: cycle.number for cycle in story.cycles}
    for cycle in story.cycles:
        if cycle.number == last:
            detail = f"{len(story.baseline)} cycles"
            yield Event(
                at=cycle.started_at,
                cycle=last,
                between=False,
                mark="▾",
                label="Baseline complete",
                detail=detail,
            )
    for alert in story.alerts:
        number = numbers.get(alert.raised_by_cycle_id)
        yield Event(
            at=alert.raised_at,
            cycle=_last_before(story, alert.raised_at) if number is None else number,
            between=False,
            mark="!",
            label=f"Past {alert.level} limit",
            detail=f"alert {alert.id}, {alert.status}",
        )
