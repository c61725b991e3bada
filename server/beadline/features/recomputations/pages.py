"""The pages about recomputations; they are begun on the command line, since they may take hours."""

from __future__ import annotations

import math

from fastapi import APIRouter, Request, Response

from beadline.boundary import templates
from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.recomputations import service as recomputations

router = APIRouter(include_in_schema=False)
PER_PAGE = 50


@router.get("/recomputations")
def listed(request: Request, session: ReadSession, viewer: Viewer, page: int = 1) -> Response:
    """Show which recomputations there were."""
    page = max(1, page)
    found, many = recomputations.a_page(session, number=page, per_page=PER_PAGE)
    context = {
        "recomputations": [{"one": one, "beds": beds, "finished": done} for one, beds, done in found],
        "page": page,
        "last_page": max(1, math.ceil(many / PER_PAGE)),
    }
    return templates.render(request, "recomputations/recomputations.html", context)


@router.get("/recomputations/{recomputation_id}")
def one(request: Request, session: ReadSession, viewer: Viewer, recomputation_id: int) -> Response:
    """Show what a recomputation changed, bed by bed."""
    found, beds = recomputations.shown(session, recomputation_id)
    context = {"recomputation": found, "beds": beds}
    return templates.render(request, "recomputations/recomputation.html", context)
