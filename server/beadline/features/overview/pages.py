"""The pages Columns and Column."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response

from beadline.boundary import templates
from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.bed_events.schemas import CHOICES
from beadline.features.overview import service as overview
from beadline.features.overview.service import Story
from beadline.kit import forms

router = APIRouter(include_in_schema=False)


def _others(request: Request) -> tuple[int, ...]:
    """Read which cycles are selected beside the first: `with=3~7`."""
    asked = request.query_params.get("with", "")
    return tuple(int(part) for part in asked.split("~") if part.isdecimal() and len(part) < 9)


def _beside(request: Request) -> int | None:
    """Read which bed is to stand beside this one; none was chosen if it is empty."""
    return forms.whole(request.query_params.get("beside", ""), where="beside")


Others = Annotated[tuple[int, ...], Depends(_others)]
Beside = Annotated[int | None, Depends(_beside)]


@router.get("/")
def columns(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    area: str = "",
    resin: str = "",
    condition: str = "",
) -> Response:
    """Show which bed needs me today."""
    lines = overview.bed_lines(session)
    filters = {"area": area, "resin": resin, "condition": condition}
    context = {
        "lede": overview.lede(lines),
        "lines": overview.chosen(lines, filters),
        "filters": filters,
        "choices": overview.choices(lines),
    }
    return templates.render(request, "overview/columns.html", context)


@router.get("/columns/{tag}")
def column(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    tag: str,
    packing: int | None = None,
    transition: str | None = None,
    cycle: int | None = None,
    *,
    others: Others,
    beside: Beside,
) -> Response:
    """Show how a bed is."""
    story = overview.of_bed(session, tag, packing_id=packing)
    compared = overview.compared_story(session, story, beside)
    bed = overview.bed_view(
        session, story, transition=transition, cycle=cycle, others=others, compared=compared
    )
    return templates.render(request, "overview/column.html", {"bed": bed, "event_kinds": CHOICES})


@router.get("/columns/{tag}/cycles/{number}")
def cycle(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    tag: str,
    number: int,
    packing: int | None = None,
    transition: str | None = None,
    *,
    others: Others,
    beside: Beside,
) -> Response:
    """Show one cycle, as a part of the page Column."""
    story = overview.of_cycles(session, tag, (number, *others), packing_id=packing)
    compared = overview.compared_story(session, story, beside)
    view = overview.cycle_view(
        session, story, number, transition=transition, others=others, compared=compared
    )
    return templates.render(request, "overview/cycle.html", {"cycle": view})


@router.get("/columns/{tag}/cycles/{number}/transitions/{name:path}")
def working(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    tag: str,
    number: int,
    name: str,
    packing: int | None = None,
) -> Response:
    """Show how the numbers of one transition came about."""
    story = overview.of_bed(session, tag, packing_id=packing)
    view = overview.working_view(session, story, number, name)
    return templates.render(request, "overview/working.html", {"view": view})


@router.get("/columns/{tag}/results.csv")
def results(
    session: ReadSession, viewer: Viewer, tag: str, packing: int | None = None, *, beside: Beside
) -> Response:
    """Send all results of a bed as a table, and those of the bed beside it."""
    story = overview.of_bed(session, tag, packing_id=packing)
    compared = overview.compared_story(session, story, beside)
    stories = (story,) if compared is None else (story, compared)
    return _table(story, overview.results_csv(*stories))


@router.get("/columns/{tag}/cycles/{number}/curves.csv")
def curves(
    session: ReadSession,
    viewer: Viewer,
    tag: str,
    number: int,
    packing: int | None = None,
    *,
    others: Others,
    beside: Beside,
) -> Response:
    """Send the curves of the selected cycles as a table."""
    story = overview.of_cycles(session, tag, (number, *others), packing_id=packing)
    compared = overview.compared_story(session, story, beside)
    view = overview.cycle_view(session, story, number, others=others, compared=compared)
    return _table(story, overview.curves_csv(story, view), what=f"-cycle-{number}-curves")


def _table(story: Story, text: str, *, what: str = "") -> Response:
    name = f"{story.packing.column.asset_tag}-packing-{story.packing.number}{what}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text, media_type="text/csv; charset=utf-8", headers=headers)
