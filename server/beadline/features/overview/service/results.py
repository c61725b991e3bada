"""Everything that a bed's page shows, as a table for a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from beadline.features.cycles.schemas import is_typed, values_from
from beadline.features.drift import service as drift
from beadline.features.overview.schemas import CycleView
from beadline.features.overview.service.story import Story
from beadline.features.overview.service.timeline import events_of_cycles
from beadline.features.transitions.schemas import CurveView
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


def curves_csv(story: Story, view: CycleView) -> str:
    """Return the curves of a selected cycle as they are drawn: over the baseline, beside the others.

    A row for each volume of each transition; fractions of the step, slopes per column volume.
    """
    import pandas as pd  # here, since it would slow every start

    bed = {
        "column": _safe(story.packing.column.name),
        "packing": story.packing.number,
        "cycle": view.number,
    }
    rows = [bed | row for curve in view.curves for row in _points(curve)]
    return str(pd.DataFrame(rows, columns=None if rows else [*bed]).to_csv(index=False))


def _points(curve: CurveView) -> Iterator[dict[str, Any]]:
    lines = {
        "fraction": curve.fraction,
        "baseline_from": curve.envelope_low,
        "baseline_to": curve.envelope_high,
        "slope_per_cv": curve.density_per_cv,
        "baseline_slope_per_cv": curve.baseline_density_per_cv,
    }
    for other in curve.beside:
        lines |= {
            f"fraction of {other.label}": other.fraction,
            f"slope_per_cv of {other.label}": other.density_per_cv,
        }
    for i, volume_cv in enumerate(curve.grid_cv):
        values = {name: line[i] if line else None for name, line in lines.items()}
        yield {"transition": _safe(curve.transition), "volume_cv": volume_cv} | values


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
