"""The page Library."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from beadline.boundary import templates
from beadline.boundary.deps import ReadSession, Viewer
from beadline.features.library import service as library

router = APIRouter()


@router.get("/library")
def library_page(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    """Show every shelf."""
    context = {"shelves": library.shelves(session), "may_change": "change library" in viewer.deeds}
    return templates.render(request, "library/library.html", context)
