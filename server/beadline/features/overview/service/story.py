"""All that is stored of one bed's life, read once for a page."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from beadline.features.alerts import queries as alert_queries
from beadline.features.bed_events import queries as event_queries
from beadline.features.bed_events import service as bed_events
from beadline.features.bed_events.schemas import Placed
from beadline.features.columns import service as columns
from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.packings import queries as packing_queries
from beadline.features.pulse_tests import queries as pulse_queries
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.kit.errors import NotFound
from beadline.science import metrics
from beadline.store.tables import Alert, Baseline, BedState, Cycle, Judgement, Packing, PulseTest, Transition

Values = Mapping[str, tuple[float, float]]


@dataclass(frozen=True, slots=True)
class Story:
    """A bed with its cycles, results, judgements, pulse tests and alerts.

    Attributes
    ----------
    values : mapping
        By the cycle's id: value and standard uncertainty of each key that the charts know.
    levels : mapping
        By the cycle's id: the limit, "alert" or "action", that a key's own value passed.
    bands : mapping
        By key: centre and ends of the baseline band.
    events : tuple of Placed
        Cleaning and maintenance, where the whole life was read.
    """

    packing: Packing
    packings: Sequence[Packing]
    standing: BedState | None
    tests: Sequence[PulseTest]
    alerts: Sequence[Alert]
    cycles: Sequence[Cycle]
    rows: Mapping[int, Sequence[Transition]]
    values: Mapping[int, Values]
    judgements: Mapping[int, Judgement]
    levels: Mapping[int, Mapping[str, str]]
    bands: Mapping[str, tuple[float, float, float]]
    baseline: tuple[int, ...]
    version: Baseline | None
    events: tuple[Placed, ...] = ()

    @property
    def transitions(self) -> tuple[str, ...]:
        """Names of the transitions, the official one first."""
        planned = transitions.planned(self.packing.step_plan)
        first = transitions.official(planned).name
        return (first, *(one.name for one in planned if one.name != first))

    def quantity_of(self, key: str) -> str:
        """Return what the signal behind a key measures; empty for values of the whole cycle."""
        planned = {one.name: one.quantity for one in transitions.planned(self.packing.step_plan)}
        return planned.get(key.rpartition("/")[0], "")

    def limits(self, key: str, which: str) -> tuple[float | None, float | None]:
        """Return the "alert" or "action" limits of a key as stored; those of the procedure go first."""
        return drift.limits_of(self.standing, key, which)

    def from_baseline(self, key: str, which: str) -> tuple[float | None, float | None]:
        """Return the limits that the baseline gives."""
        return drift.limits_from_baseline(self.standing, key, which)

    def by_procedure(self, key: str, which: str) -> tuple[float | None, float | None]:
        """Return the limits that the site's procedure sets."""
        return drift.limits_by_procedure(self.standing, key, which)

    def level(self, cycle: Cycle, key: str) -> str:
        """Return which limit a cycle's own value passed, by procedure or not: "", "alert" or "action"."""
        return self.levels.get(cycle.id, {}).get(key, "")


def packing_of(session: Session, tag: str, *, packing_id: int | None) -> tuple[Packing, Sequence[Packing]]:
    """Return a column's present packing, or the one that is asked for, and all of the column's packings.

    Raises
    ------
    NotFound
        If there is no such column or packing.
    """
    column = columns.find(session, tag)
    packings = packing_queries.of_column(session, column.id)
    wanted = [p for p in packings if packing_id in (None, p.id)]
    if not wanted:
        said = f"{column.name} has no such packing." if packings else f"{column.name} was never packed."
        raise NotFound(said, where="packing", mend="Open it from Columns, or record the packing.")
    return wanted[0], packings


def of_bed(session: Session, tag: str, *, packing_id: int | None) -> Story:
    """Read the life of a column's present bed, or of the packing that is asked for.

    Raises
    ------
    NotFound
        If there is no such column or packing.
    """
    return of_packing(session, *packing_of(session, tag, packing_id=packing_id))


def of_cycles(session: Session, tag: str, numbers: Sequence[int], *, packing_id: int | None) -> Story:
    """Read of a bed's life only what some cycles need: these cycles, and how the bed stands.

    A bed without a baseline yet is read whole, since its first cycles stand in for one.
    """
    packing, packings = packing_of(session, tag, packing_id=packing_id)
    standing = drift_queries.bed_state_to_go_on(session, packing.id)
    only = numbers if drift.baseline_cycles(standing) else None
    return of_packing(session, packing, packings, only=only)


def of_packing(
    session: Session,
    packing: Packing,
    packings: Sequence[Packing] = (),
    *,
    only: Sequence[int] | None = None,
) -> Story:
    """Read the life of a packing, or only some cycles of it."""
    standing = drift_queries.bed_state_to_go_on(session, packing.id)
    cycles = cycle_queries.of_packing(session, packing.id, only=only)
    ids = [cycle.id for cycle in cycles]
    found = (
        transition_queries.of_packing(session, packing.id, with_recipe=False)
        if only is None
        else transition_queries.of_cycles(session, ids)
    )
    rows: dict[int, list[Transition]] = {}
    for row in found:
        rows.setdefault(row.cycle_id, []).append(row)
    judgements = (
        drift_queries.of_packing(session, packing.id)
        if only is None
        else drift_queries.of_cycles(session, ids)
    )
    return Story(
        packing=packing,
        packings=packings,
        standing=standing,
        tests=pulse_queries.of_packing(session, packing.id),
        alerts=alert_queries.of_packing(session, packing.id),
        cycles=cycles,
        rows=rows,
        values={cycle.id: _values(cycle, rows.get(cycle.id, [])) for cycle in cycles},
        judgements=judgements,
        levels={cycle_id: _levels(judgement) for cycle_id, judgement in judgements.items()},
        bands=drift.bands(standing) if standing else {},
        baseline=drift.baseline_cycles(standing),
        version=drift_queries.baseline(session, packing.id, with_maker=True),
        events=_events(session, packing, cycles) if only is None else (),
    )


def _events(session: Session, packing: Packing, cycles: Sequence[Cycle]) -> tuple[Placed, ...]:
    starts = [(cycle.number, cycle.started_at) for cycle in cycles]
    return bed_events.placed(event_queries.of_packing(session, packing.id), starts)


def _levels(judgement: Judgement) -> dict[str, str]:
    """Return the highest level at which a key's own value spoke, by procedure or not."""
    found: dict[str, str] = {}
    for one in drift.spoken(judgement):
        if one.chart in ("procedure", "individuals") and found.get(one.key) != "action":
            found[one.key] = "action" if one.level == "action" else "alert"
    return found


def _values(cycle: Cycle, rows: Sequence[Transition]) -> dict[str, tuple[float, float]]:
    found = {
        f"{row.name}/{metric}": (pair[0], pair[1])
        for row in rows
        if row.usable
        for metric, pair in row.estimates.items()
    }
    charted = metrics.by_name(metrics.CYCLE)
    whole = {name: pair for name, pair in cycle.conditions.items() if name in charted and pair is not None}
    return found | {name: (pair[0], pair[1]) for name, pair in whole.items()}
