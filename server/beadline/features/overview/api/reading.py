"""Read beds, their cycles and one cycle whole."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Query

from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.overview import service as overview
from beadline.features.overview.api import models, shaping
from beadline.features.transitions import queries as transitions
from beadline.kit.errors import NotFound

router = APIRouter(prefix="/api/v1/columns", tags=["columns"])
Tag = Annotated[str, Path(description="Asset tag or name of the column.")]
PackingId = Annotated[
    int | None, Query(ge=1, le=2**31 - 1, description="Id of a packing; the present one if left out.")
]
Page = Annotated[int, Query(ge=1, le=100_000, description="From 1; a page holds 100 entries.")]


@router.get("")
def beds(session: ReadSession, viewer: Viewer, page: Page = 1) -> models.Beds:
    """List every column's newest bed: condition, drift, headline numbers, limits, standing alert."""
    found = overview.bed_page(session, page=page)
    return models.Beds(page=page, pages=found.pages, columns=[shaping.bed(one) for one in found.beds])


@router.get("/{tag}")
def bed(session: ReadSession, viewer: Viewer, tag: Tag, packing: PackingId = None) -> models.BedDetail:
    """Give a column's present bed, or another of its packings, with cycles left until each limit."""
    return shaping.bed_detail(overview.bed_report(session, tag, packing_id=packing))


@router.get("/{tag}/cycles")
def cycles(
    session: ReadSession,
    viewer: Viewer,
    tag: Tag,
    packing: PackingId = None,
    page: Page = 1,
) -> models.Cycles:
    """List a bed's cycles with all results; voided and excluded ones are marked."""
    found = overview.cycle_page(session, tag, packing_id=packing, page=page)
    return models.Cycles(
        column=found.packing.column.asset_tag,
        packing=found.packing.number,
        packing_id=found.packing.id,
        page=page,
        pages=found.pages,
        cycles=[shaping.line(found.packing, report) for report in found.cycles],
    )


@router.get("/{tag}/cycles/{number}")
def cycle(
    session: ReadSession,
    viewer: Viewer,
    tag: Tag,
    number: Annotated[int, Path(ge=1, le=100_000)],
    packing: PackingId = None,
) -> models.CycleDetail:
    """Give one cycle with its transitions, doubts, and why numbers are withheld."""
    bed, report = overview.cycle_report(session, tag, number, packing_id=packing)
    return shaping.detail(bed, report)


@router.get("/{tag}/cycles/{number}/transitions/{name:path}")
def transition(
    session: ReadSession,
    viewer: Viewer,
    tag: Tag,
    number: Annotated[int, Path(ge=1, le=100_000)],
    name: Annotated[str, Path(description="As the cycle names it.")],
    packing: PackingId = None,
) -> models.TransitionWorking:
    """Give one transition with settings, intermediate values and curve."""
    found, report = overview.cycle_report(session, tag, number, packing_id=packing)
    row = next((one for one in transitions.of_cycle(session, report.cycle.id) if one.name == name), None)
    if row is None:
        said = f"Cycle {number} has no transition {name!r}."
        raise NotFound(said, where="name", mend="The cycle lists its transitions.")
    return shaping.working(found, report.cycle, row)
