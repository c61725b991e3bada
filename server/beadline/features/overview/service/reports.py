"""What programs read of beds and their cycles, as it is stored."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.alerts import queries as alert_queries
from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.overview.service.story import packing_of
from beadline.features.packings import queries as packing_queries
from beadline.features.pulse_tests import queries as pulse_queries
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions.schemas import SIGNAL_METRICS, SIGNAL_UNITS
from beadline.kit.errors import NotFound
from beadline.science import metrics
from beadline.store.tables import Alert, BedState, Cycle, Judgement, Packing, Transition

BEDS_PER_PAGE = CYCLES_PER_PAGE = 100
METRICS = metrics.by_name(metrics.TRANSITION) | metrics.by_name(metrics.CYCLE)
Ends = tuple[float | None, float | None]


@dataclass(frozen=True, slots=True)
class BedReport:
    """A bed as it stands; limits by key, as alert and action, each from and to."""

    packing: Packing
    standing: BedState | None
    condition: str
    alert: Alert | None
    limits: dict[str, tuple[Ends, Ends]]


@dataclass(frozen=True, slots=True)
class BedPage:
    """Some beds, and how many pages there are."""

    beds: tuple[BedReport, ...]
    pages: int


@dataclass(frozen=True, slots=True)
class CycleReport:
    """A cycle with its present results; voided ones have no judgement that counts."""

    cycle: Cycle
    rows: Sequence[Transition]
    judgement: Judgement | None

    @property
    def verdict(self) -> str | None:
        """The verdict; None for a voided cycle."""
        return None if self.cycle.voided_at is not None else drift.verdict_of(self.cycle, self.judgement)


@dataclass(frozen=True, slots=True)
class CyclePage:
    """Some cycles of a bed, and how many pages there are."""

    packing: Packing
    cycles: tuple[CycleReport, ...]
    pages: int


def stored_unit(name: str, quantity: str) -> str:
    """Return the unit in which a metric is stored; that of a plateau is its signal's.

    Examples
    --------
    >>> stored_unit("hetp_moments", "conductivity"), stored_unit("step_height", "conductivity")
    ('m', 'mS/cm')
    """
    if name in SIGNAL_METRICS:
        return SIGNAL_UNITS.get(quantity, "")
    if name.endswith("_pa"):
        return "Pa"
    return METRICS[name].stored_unit


def bed_page(session: Session, *, page: int) -> BedPage:
    """Return some columns' newest beds as they stand, by name."""
    every = sorted(packing_queries.newest_of_every_column(session), key=lambda bed: bed.column.name)
    beds = every[(page - 1) * BEDS_PER_PAGE : page * BEDS_PER_PAGE]
    return BedPage(_bed_reports(session, beds), _pages(len(every), BEDS_PER_PAGE))


def bed_report(session: Session, tag: str, *, packing_id: int | None) -> BedReport:
    """Return a column's present bed as it stands, or the packing that is asked for.

    Raises
    ------
    NotFound
        If there is no such column or packing.
    """
    packing, _ = packing_of(session, tag, packing_id=packing_id)
    return _bed_reports(session, [packing])[0]


def _pages(count: int, per_page: int) -> int:
    return max(1, -(-count // per_page))


def _bed_reports(session: Session, beds: Sequence[Packing]) -> tuple[BedReport, ...]:
    ids = [bed.id for bed in beds]
    standings = drift_queries.bed_states(session, ids, with_state=True)
    tests, alerts = (
        pulse_queries.newest_of_packings(session, ids),
        alert_queries.open_of_packings(session, ids),
    )
    found = []
    for bed in beds:
        standing = standings.get(bed.id)
        condition = drift.condition_of(bed, standing, tests.get(bed.id))
        found.append(BedReport(bed, standing, condition, alerts.get(bed.id), _limits(standing)))
    return tuple(found)


def _limits(standing: BedState | None) -> dict[str, tuple[Ends, Ends]]:
    if standing is None:
        return {}
    fixed: dict[str, Any] = standing.state.get("settings", {}).get("fixed_limits", {})
    charted = {*standing.limits, *fixed}  # some are of the charts alone, and no stored metric
    keys = sorted(key for key in charted if key.rpartition("/")[2] in METRICS)
    return {
        key: (drift.limits_of(standing, key, "alert"), drift.limits_of(standing, key, "action"))
        for key in keys
    }


def cycle_page(session: Session, tag: str, *, packing_id: int | None, page: int) -> CyclePage:
    """Return some cycles of a column's present bed, or of the packing that is asked for.

    Raises
    ------
    NotFound
        If there is no such column or packing.
    """
    packing, _ = packing_of(session, tag, packing_id=packing_id)
    count = cycle_queries.count_of_packing(session, packing.id)
    offset = (page - 1) * CYCLES_PER_PAGE
    cycles = cycle_queries.page_of_packing(session, packing.id, limit=CYCLES_PER_PAGE, offset=offset)
    return CyclePage(packing, reports_of(session, cycles), _pages(count, CYCLES_PER_PAGE))


def cycle_report(
    session: Session, tag: str, number: int, *, packing_id: int | None
) -> tuple[Packing, CycleReport]:
    """Return one cycle of a bed; a voided one only where no other has its number.

    Raises
    ------
    NotFound
        If there is no such column, packing or cycle.
    """
    packing, _ = packing_of(session, tag, packing_id=packing_id)
    cycle = cycle_queries.numbered_even_void(session, packing.id, number)
    if cycle is None:
        raise NotFound(f"This bed has no cycle {number}.", where="number", mend="List the bed's cycles.")
    return packing, reports_of(session, [cycle])[0]


def reports_of(session: Session, cycles: Sequence[Cycle]) -> tuple[CycleReport, ...]:
    """Return cycles with their present results and judgements."""
    ids = [cycle.id for cycle in cycles]
    rows: dict[int, list[Transition]] = {}
    for row in transition_queries.of_cycles(session, ids):
        rows.setdefault(row.cycle_id, []).append(row)
    judgements = drift_queries.of_cycles(session, ids)
    return tuple(CycleReport(c, rows.get(c.id, []), judgements.get(c.id)) for c in cycles)
