"""What is put beside a cycle or a bed: other cycles, an earlier packing, the same resin in another column."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from urllib.parse import quote

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline.features.overview.schemas import Compared, SideBySide
from beadline.features.overview.service.story import Story, of_packing
from beadline.features.overview.service.trends import LEADING, OF_THE_CYCLE, trends
from beadline.features.packings import queries as packing_queries
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.features.transitions.schemas import BesideCurve, CurveView, number_line
from beadline.kit.errors import NotFound
from beadline.science.drift.reading import metric_of
from beadline.store.tables import Cycle, Packing, Transition

MOST_BEDS = 60  # that are offered beside the column's own; a list of a whole fleet helps nobody
MOST = 6  # cycles beside the selected one; more can't be told apart
TABLED = (*LEADING, "early_foot", "late_tail", "step_height")


def title(packing: Packing) -> str:
    """Name a bed."""
    return f"{packing.column.name}, packing {packing.number}"


def comparable(session: Session, story: Story) -> tuple[tuple[int, str], ...]:
    """Return what is offered to compare a bed with: its column's other packings, its resin's newest beds."""
    alike = packing_queries.of_resin(session, story.packing.lot.resin_id, most=MOST_BEDS)
    found = {one.id: one for one in (*story.packings, *alike) if one.id != story.packing.id}
    return tuple((one.id, title(one)) for one in found.values())


def compared_story(session: Session, story: Story, packing_id: int | None) -> Story | None:
    """Read the life of the bed that is to stand beside another; None if none was asked for.

    Raises
    ------
    NotFound
        If it is neither of the same column nor of the same resin.
    """
    if packing_id is None:
        return None
    packing = packing_queries.by_id(session, packing_id)
    if packing is None or not _are_alike(packing, story.packing):
        said = "That packing is neither of this column nor of this resin."
        raise NotFound(said, where="beside", mend="Choose one from the list.")
    return of_packing(session, packing)


def _are_alike(one: Packing, other: Packing) -> bool:
    same = one.column_id == other.column_id or one.lot.resin_id == other.lot.resin_id
    return same and one.id != other.id


def compared_bed(compared: Story | None, transition: str) -> Compared | None:
    """Return another bed's trends, to be drawn behind those of this one."""
    if compared is None:
        return None
    packing = compared.packing
    found = trends(compared, transition)
    return Compared(
        packing_id=packing.id,
        label=title(packing),
        href=f"/columns/{quote(packing.column.asset_tag)}?packing={packing.id}",
        trends={
            one.key: (tuple(p.cycle for p in one.points), tuple(p.value for p in one.points)) for one in found
        },
    )


def known(story: Story, numbers: Sequence[int], *, but: Cycle) -> tuple[Cycle, ...]:
    """Return the cycles of these numbers that the bed has, without the selected one; a few at most."""
    wanted = dict.fromkeys(numbers)
    by_number = {cycle.number: cycle for cycle in story.cycles}
    return tuple(by_number[n] for n in wanted if n in by_number and n != but.number)[:MOST]


def with_curves(
    session: Session,
    story: Story,
    curves: Iterable[CurveView],
    others: Sequence[Cycle],
    *,
    compared: Story | None,
    number: int,
) -> tuple[CurveView, ...]:
    """Return the curves with those of other cycles, and of the other bed's cycle of the same age."""
    found: list[tuple[str, Transition]] = []
    if others:
        wanted = [cycle.number for cycle in others]
        rows = transition_queries.curves(session, story.packing.id, cycles=wanted)
        found += [(f"cycle {each}", row) for each, row in rows]
    if compared is not None and (age := as_old(compared, number)) is not None:
        rows = transition_queries.curves(session, compared.packing.id, cycles=[age])
        found += [(f"{title(compared.packing)}, cycle {age}", row) for _, row in rows]
    return tuple(
        replace(
            curve,
            beside=tuple(_on_grid(label, row, curve) for label, row in found if row.name == curve.transition),
        )
        for curve in curves
    )


def as_old(story: Story, number: int) -> int | None:
    """Return the bed's last cycle up to this number, None if it has none so early."""
    return max((cycle.number for cycle in story.cycles if cycle.number <= number), default=None)


def _on_grid(label: str, row: Transition, curve: CurveView) -> BesideCurve:
    own = transitions.grid_of(row)

    def read(values: NDArray[np.float64] | None) -> tuple[float, ...]:
        drawn = () if values is None else np.interp(curve.grid_cv, own, values)
        return tuple(round(float(v), 5) for v in drawn)

    return BesideCurve(label, read(row.fraction), read(row.density_per_cv))


def side_by_side(
    story: Story, transition: str, cycles: Sequence[Cycle], *, compared: Story | None
) -> SideBySide | None:
    """Return the leading numbers of several cycles in one table; None for a single one."""
    columns = [(f"cycle {cycle.number}", story, cycle) for cycle in cycles]
    if compared is not None and (age := as_old(compared, cycles[0].number)) is not None:
        other = next(cycle for cycle in compared.cycles if cycle.number == age)
        columns.append((f"{title(compared.packing)}, cycle {age}", compared, other))
    if len(columns) < 2:
        return None
    keys = [f"{transition}/{name}" for name in TABLED] + list(OF_THE_CYCLE)
    lines = [_line(key, columns) for key in keys]
    return SideBySide(tuple(head for head, *_ in columns), tuple(line for line in lines if any(line[2])))


def _line(key: str, columns: Sequence[tuple[str, Story, Cycle]]) -> tuple[str, str, tuple[str, ...]]:
    written = [
        number_line(metric_of(key), of.values[cycle.id].get(key), quantity=of.quantity_of(key))
        for _, of, cycle in columns
    ]
    return written[0].label, written[0].unit, tuple(line.value for line in written)
