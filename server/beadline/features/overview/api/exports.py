"""Series and traces as files that other programs take up."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Request, Response

from beadline.boundary import tabular
from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.overview.api.reading import PackingId, Tag
from beadline.features.overview.service import tables

router = APIRouter(prefix="/api/v1/columns", tags=["exports"])


@router.get("/{tag}/series", response_class=Response, responses=tabular.DESCRIBED)
def series(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    tag: Tag,
    packing: PackingId = None,
    form: tabular.AskedFormat = None,
) -> Response:
    """Give every stored number of a bed's cycles, a row each: SI units or column volumes.

    Numbers of the whole cycle have an empty transition; what is excluded or voided is marked.
    """
    bed, columns = tables.series(session, tag, packing_id=packing)
    return tabular.answer(
        request, form, columns, filename=f"{bed.column.asset_tag}_packing_{bed.number}_series"
    )


@router.get("/{tag}/cycles/{number}/trace", response_class=Response, responses=tabular.DESCRIBED)
def trace(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    tag: Tag,
    number: Annotated[int, Path(ge=1, le=100_000)],
    packing: PackingId = None,
    form: tabular.AskedFormat = None,
) -> Response:
    """Give the signals of a cycle over volume, a row for each reading; null where the file has a gap."""
    bed, columns = tables.trace(session, tag, number, packing_id=packing)
    return tabular.answer(request, form, columns, filename=f"{bed.column.asset_tag}_cycle_{number}_trace")
