"""Series and traces as tables that other programs take up: a row for each number, with its unit."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

from sqlalchemy.orm import Session

from beadline import reading
from beadline.features.cycles import queries as cycle_queries
from beadline.features.cycles.schemas import is_typed, values_from
from beadline.features.drift import queries as drift_queries
from beadline.features.overview.service.reports import CycleReport, cycle_report, reports_of, stored_unit
from beadline.features.overview.service.story import packing_of
from beadline.features.packings import service as packings
from beadline.features.traces import service as traces
from beadline.kit.errors import Conflict, NotFound
from beadline.store.tables import Cycle, Packing

Columns = dict[str, Sequence[Any]]
SERIES = (
    "column", "packing", "cycle", "batch", "started_at", "transition", "metric", "value", "u", "unit",
    "verdict", "drift", "usable", "excluded", "voided", "values_from", "method", "method_version", "revision",
)  # fmt: skip
BEDS = (
    "column", "name", "area", "packing", "packing_id", "resin", "lot", "step_plan", "packed_at",
    "unpacked_at", "bed_height_m", "bed_volume_m3", "bead_diameter_m",
)  # fmt: skip
TRACE = ("signal", "quantity", "role", "unit", "volume_m3", "value")
TRACE_UNITS = {
    "conductivity": "mS/cm",
    "uv": "mAU",
    "ph": "pH",
    "pressure": "Pa",
    "flow": "m3/s",
    "temperature": "K",
}


def series(session: Session, tag: str, *, packing_id: int | None) -> tuple[Packing, Columns]:
    """Return every stored number of a bed's cycles; of the whole cycle where `transition` is empty.

    Raises
    ------
    NotFound
        If there is no such column or packing.
    """
    packing, _ = packing_of(session, tag, packing_id=packing_id)
    cycles = cycle_queries.page_of_packing(session, packing.id, limit=None, offset=0)
    return packing, series_of(packing, reports_of(session, cycles))


def series_of(packing: Packing, reports: Iterable[CycleReport]) -> Columns:
    """Return every stored number of some cycles."""
    rows = [row for report in reports for row in _rows(packing, report)]
    return {name: [row[name] for row in rows] for name in SERIES}


CHUNK = 100  # cycles


def stamps(session: Session, every: Sequence[Packing]) -> dict[int, str]:
    """Return for each packing a text that changes whenever something in `chunks` of it would."""
    standings = drift_queries.bed_states(session, [packing.id for packing in every])
    counts = cycle_queries.counts(session)
    return {
        packing_id: f"{counts.get(packing_id, 0)} cycles, judged {standing.updated_at.isoformat()}"
        for packing_id, standing in standings.items()
    }


def chunks(session: Session, packing: Packing) -> Iterator[tuple[int, tuple[CycleReport, ...]]]:
    """Yield a packing's cycles by the hundred, each hundred with its first number."""
    cycles = cycle_queries.page_of_packing(session, packing.id, limit=None, offset=0)
    for first, inside in groupby(cycles, key=lambda cycle: (cycle.number - 1) // CHUNK * CHUNK + 1):
        yield first, reports_of(session, list(inside))


def beds(every: Sequence[Packing]) -> Columns:
    """Return every packing with what its numbers rest on."""
    rows = [_bed(packing) for packing in every]
    return {name: [row[name] for row in rows] for name in BEDS}


def trace(session: Session, tag: str, number: int, *, packing_id: int | None) -> tuple[Packing, Columns]:
    """Return the signals of a cycle's trace over volume.

    Raises
    ------
    NotFound
        If there is no such cycle, or its values came without a trace.
    Conflict
        If the stored bytes are harmed or can't be read any more.
    """
    packing, report = cycle_report(session, tag, number, packing_id=packing_id)
    return packing, trace_of(session, packing, report.cycle)


def trace_of(session: Session, packing: Packing, cycle: Cycle) -> Columns:
    """Return the signals of a cycle's trace as `trace` does."""
    if is_typed(cycle):
        said = f"The values of cycle {cycle.number} came without a trace."
        raise NotFound(said, where="number", mend="Ask for the cycle's numbers instead.", code="no-trace")
    bed, stored = packings.bed_of(packing), traces.content_of(session, cycle.trace_id)
    try:
        read = reading.read(
            stored.content,
            filename=stored.filename,
            profile=reading.Profile.from_dict(cycle.profile),
            bed_volume_m3=bed.bed_volume_m3,
            column_area_m2=bed.cross_section_m2,
        )
    except reading.UnreadableFile as error:
        raise Conflict(error.what, where=error.where, mend=error.mend, code=error.code) from error
    columns: dict[str, list[Any]] = {name: [] for name in TRACE}
    for one in read.signals:
        unit = TRACE_UNITS.get(one.quantity, one.unit)
        for name, text in (
            ("signal", one.name),
            ("quantity", one.quantity),
            ("role", one.role),
            ("unit", unit),
        ):
            columns[name] += [text] * len(one.values)
        columns["volume_m3"] += one.volume_m3.tolist()
        columns["value"] += [None if math.isnan(value) else value for value in one.values.tolist()]
    return dict(columns)


def _bed(packing: Packing) -> dict[str, Any]:
    bed = packings.bed_of(packing)
    return {
        "column": packing.column.asset_tag,
        "name": packing.column.name,
        "area": packing.column.area,
        "packing": packing.number,
        "packing_id": packing.id,
        "resin": packing.lot.resin.name,
        "lot": packing.lot.lot_number,
        "step_plan": packing.step_plan.name,
        "packed_at": packing.packed_at,
        "unpacked_at": packing.unpacked_at,
        "bed_height_m": bed.bed_height_m,
        "bed_volume_m3": bed.bed_volume_m3,
        "bead_diameter_m": bed.bead_diameter_m,
    }


def _rows(packing: Packing, report: CycleReport) -> Iterable[dict[str, Any]]:
    cycle, judgement = report.cycle, report.judgement
    common = {
        "column": packing.column.asset_tag,
        "packing": packing.number,
        "cycle": cycle.number,
        "batch": cycle.batch,
        "started_at": cycle.started_at,
        "verdict": report.verdict,
        "drift": judgement.drift if judgement and cycle.voided_at is None else None,
        "excluded": cycle.excluded_at is not None,
        "voided": cycle.voided_at is not None,
        "values_from": values_from(cycle),
    }
    for name, pair in cycle.conditions.items():
        if pair is not None:
            whole = {"transition": "", "usable": True, "method": "", "method_version": "", "revision": None}
            yield common | whole | _number(name, pair, "")
    for row in report.rows:
        told = {"transition": row.name, "usable": row.usable, "method": row.method}
        told |= {"method_version": row.method_version, "revision": row.revision}
        for name, pair in row.estimates.items():
            yield common | told | _number(name, pair, row.plan["quantity"])


def _number(name: str, pair: Sequence[float], quantity: str) -> dict[str, Any]:
    return {"metric": name, "value": pair[0], "u": pair[1] or None, "unit": stored_unit(name, quantity)}
