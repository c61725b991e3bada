"""One cycle of a bed: its numbers against the limits, its curves over the baseline."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from urllib.parse import quote, urlencode

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline.features.cycles.schemas import is_typed, source_of
from beadline.features.drift import service as drift
from beadline.features.overview.schemas import CycleView, Excluded, SheetSource
from beadline.features.overview.service import beside
from beadline.features.overview.service.pool import pool_view
from beadline.features.overview.service.pressure import pressure_view
from beadline.features.overview.service.story import Story
from beadline.features.overview.service.trends import FURTHER, LEADING, OF_THE_CYCLE
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import CurveView, number_line
from beadline.kit import looks
from beadline.kit.errors import NotFound
from beadline.science.drift import voices
from beadline.science.drift.reading import metric_of
from beadline.store.tables import Cycle, Transition

Floats = NDArray[np.float64]
FIRST_CYCLES = 15
HEADLINES = (*LEADING, "early_foot", "late_tail", "v05_cv", "step_height")
REST = tuple(name for name in FURTHER if name not in HEADLINES)


def cycle_view(
    session: Session,
    story: Story,
    number: int,
    *,
    transition: str | None = None,
    others: Sequence[int] = (),
    compared: Story | None = None,
) -> CycleView:
    """Return a cycle of a bed, with the chosen transition first, beside other cycles and a compared bed.

    Raises
    ------
    NotFound
        If the bed has no cycle of this number.
    """
    cycle = next((c for c in story.cycles if c.number == number), None)
    if cycle is None:
        raise NotFound(f"This bed has no cycle {number}.", where="cycle", mend="Choose one from the list.")
    judgement = story.judgements.get(cycle.id)
    rows = sorted(
        story.rows.get(cycle.id, ()), key=lambda row: row.name != (transition or story.transitions[0])
    )
    verdict = drift.verdict_of(cycle, judgement)
    own, around = _stored_curves(session, story, cycle)
    official = story.transitions[0]
    curves = [_curve(own[row.name], around.get(row.name, ())) for row in rows if row.name in own]
    known = beside.known(story, others, but=cycle)
    return CycleView(
        cycle_id=cycle.id,
        number=cycle.number,
        batch=cycle.batch,
        started_at=cycle.started_at,
        logged_by=cycle.logged_by.full_name,
        logged_at=cycle.logged_at,
        filename=cycle.trace.filename,
        typed=is_typed(cycle),
        sheet=_sheet(cycle),
        verdict=verdict,
        kind=looks.KIND_OF_VERDICT[verdict],
        drift=judgement.drift if judgement else None,
        excluded=_excluded(cycle),
        numbers=_groups(story, cycle, rows[:1], HEADLINES, OF_THE_CYCLE),
        further=_groups(story, cycle, rows[:1], REST, ())
        + _groups(story, cycle, rows[1:], (*LEADING, *FURTHER), ()),
        workings=tuple(
            (row.name, working_href(story, cycle.number, row.name)) for row in rows if not is_typed(cycle)
        ),
        pool=pool_view(story.packing, own[official], around.get(official, ())) if official in own else None,
        pressure=pressure_view(story.packing, cycle),
        curves=beside.with_curves(session, story, curves, known, compared=compared, number=number),
        curves_href=_curves_href(story, number, known, compared),
        others=tuple(one.number for one in known),
        side_by_side=beside.side_by_side(
            story, rows[0].name if rows else official, (cycle, *known), compared=compared
        ),
        doubts=tuple(f"{row.name}: {doubt['sentence']}" for row in rows for doubt in row.doubts),
        voices=voices(drift.spoken(judgement)),
        not_the_bed=tuple(doubt["sentence"] for doubt in judgement.not_the_bed) if judgement else (),
    )


def _curves_href(story: Story, number: int, known: Sequence[Cycle], compared: Story | None) -> str:
    asked = {
        "packing": story.packing.id,
        "with": "~".join(str(one.number) for one in known),
        "beside": compared.packing.id if compared else "",
    }
    tag = quote(story.packing.column.asset_tag, safe="")
    return f"/columns/{tag}/cycles/{number}/curves.csv?{urlencode(asked)}"


def working_href(story: Story, number: int, name: str) -> str:
    """Return the address of the page that shows how a transition's numbers came about."""
    place = f"/columns/{quote(story.packing.column.asset_tag)}/cycles/{number}/transitions/{quote(name)}"
    return f"{place}?packing={story.packing.id}"


def _sheet(cycle: Cycle) -> SheetSource | None:
    source = source_of(cycle)
    return SheetSource(source["file"], source["row"], f"/traces/{source['trace']}") if source else None


def _excluded(cycle: Cycle) -> Excluded | None:
    if cycle.excluded_at is None or cycle.excluded_by is None:
        return None
    return Excluded(cycle.excluded_reason, cycle.excluded_by.full_name, cycle.excluded_at)


def _groups(
    story: Story, cycle: Cycle, rows: Sequence[Transition], names: Sequence[str], whole: Sequence[str]
) -> tuple[tuple[str, tuple[looks.NumberLine, ...]], ...]:
    """Return the named numbers of each transition, and those of the whole cycle."""
    groups = []
    for row in rows:
        lines = [_line(story, cycle, f"{row.name}/{name}", row.withheld) for name in names]
        groups.append((row.name, tuple(line for line in lines if line is not None)))
    lines = [_line(story, cycle, key, {}) for key in whole]
    groups.append(("Whole cycle", tuple(line for line in lines if line is not None)))
    return tuple(group for group in groups if group[1])


def _line(story: Story, cycle: Cycle, key: str, withheld: Mapping[str, str]) -> looks.NumberLine | None:
    """Return a number with its limit; None where there is neither a value nor a reason for its absence."""
    metric, pair = metric_of(key), story.values[cycle.id].get(key)
    why_not = withheld.get(metric.name, "")
    if pair is None and not why_not:
        return None
    line = number_line(
        metric,
        pair,
        quantity=story.quantity_of(key),
        limits=story.limits(key, "alert"),
        level=story.level(cycle, key),
        why_not=why_not,
    )
    return replace(line, kind="out") if cycle.excluded_at is not None and line.kind else line


def _stored_curves(
    session: Session, story: Story, cycle: Cycle
) -> tuple[Mapping[str, Transition], Mapping[str, Sequence[Transition]]]:
    """Return, by transition, the cycle's own result with its curve and those of the baseline."""
    counting = [c.number for c in story.cycles if c.excluded_at is None]
    normal = story.baseline or tuple(counting[:FIRST_CYCLES])
    found = transition_queries.curves(session, story.packing.id, cycles=sorted({*normal, cycle.number}))
    around: dict[str, list[Transition]] = {}
    for number, row in found:
        if number in normal:
            around.setdefault(row.name, []).append(row)
    return {row.name: row for number, row in found if number == cycle.number}, around


def _curve(own: Transition, around: Sequence[Transition]) -> CurveView:
    return transitions.curve_over_normal(
        own.name, transitions.grid_of(own), own.fraction, own.density_per_cv, around
    )
