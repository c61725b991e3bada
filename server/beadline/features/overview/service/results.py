"""Everything that a bed's page shows, as a table for a spreadsheet."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from beadline.features.cycles.schemas import is_typed, values_from
from beadline.features.drift import service as drift
from beadline.features.overview.service.story import Story
from beadline.features.overview.service.timeline import events_of_cycles
from beadline.science.drift.reading import metric_of
from beadline.store.tables import Cycle

IN_CELSIUS = {"temperature_k": "temperature_c"}  # the others are as they are stored
RISKY = ("=", "+", "-", "@", "\t", "\r")


def results_csv(*stories: Story) -> str:
    """Return a row a cycle: facts, verdict, events, and every value with its standard uncertainty.

    Values are in the units in which they are stored, temperatures in degrees Celsius.
    """
    import pandas as pd  # here, since it would slow every start

    keys = sorted({key for story in stories for values in story.values.values() for key in values})
    rows = [
        _row(story, cycle, keys) | {"events": _safe(happened)}
        for story in stories
        for cycle, happened in zip(story.cycles, events_of_cycles(story), strict=True)
    ]
    return str(pd.DataFrame(rows).to_csv(index=False))


def _row(story: Story, cycle: Cycle, keys: Sequence[str]) -> dict[str, Any]:
    judgement = story.judgements.get(cycle.id)
    row = {
        "column": _safe(story.packing.column.name),
        "packing": story.packing.number,
        "cycle": cycle.number,
        "batch": _safe(cycle.batch),
        "started_at": cycle.started_at.isoformat(),
        "logged_by": _safe(cycle.logged_by.name),
        "file": "" if is_typed(cycle) else _safe(cycle.trace.filename),
        "values_from": values_from(cycle),
        "verdict": drift.verdict_of(cycle, judgement),
        "excluded_because": _safe(cycle.excluded_reason),
        "drift": judgement.drift if judgement else None,
    }
    values = story.values[cycle.id]
    for key in keys:
        name = IN_CELSIUS.get(key, key)
        value, u = values.get(key, (None, None))
        row[name] = value if value is None or name == key else metric_of(key).shown(value)
        row[f"{name} u"] = None if is_typed(cycle) else u
    return row


def _safe(text: str) -> str:
    """Keep a spreadsheet from taking text as a formula."""
    return f"'{text}" if text.startswith(RISKY) else text
