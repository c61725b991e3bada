"""Send documents on paper, to browsers and to programs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Response

from beadline.boundary.deps import Now, ReadSession, Session, SiteSettings, Viewer
from beadline.features.reports import service as reports
from beadline.features.reports.service import Sheet

router = APIRouter(tags=["documents"])
PDF: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/pdf": {}}, "description": "The document"}
}


def _sheet(settings: SiteSettings, now: Now, paper: Literal["a4", "letter"] = "a4") -> Sheet:
    return Sheet(paper=paper, zone=settings.zone, demo=settings.demo, at=now)


Printed = Annotated[Sheet, Depends(_sheet)]


@router.get("/pulse-tests/{test_id}.pdf", include_in_schema=False)
@router.get("/api/v1/pulse-tests/{test_id}.pdf", response_class=Response, responses=PDF)
def certificate(session: ReadSession, viewer: Viewer, sheet: Printed, test_id: int) -> Response:
    """Send a pulse test as PDF."""
    return _sent(reports.certificate, session, test_id, sheet, name="pulse-test")


@router.get("/alerts/{alert_id}.pdf", include_in_schema=False)
@router.get("/api/v1/alerts/{alert_id}.pdf", response_class=Response, responses=PDF)
def alert_report(session: ReadSession, viewer: Viewer, sheet: Printed, alert_id: int) -> Response:
    """Send an alert as PDF."""
    return _sent(reports.alert_report, session, alert_id, sheet, name="alert")


@router.get("/packings/{packing_id}.pdf", include_in_schema=False)
@router.get("/api/v1/packings/{packing_id}.pdf", response_class=Response, responses=PDF)
def life_report(session: ReadSession, viewer: Viewer, sheet: Printed, packing_id: int) -> Response:
    """Send the life of a packing as PDF."""
    return _sent(reports.life_report, session, packing_id, sheet, name="packing")


def _sent(
    made: Callable[[Session, int, Sheet], bytes], session: Session, thing_id: int, sheet: Sheet, *, name: str
) -> Response:
    headers = {"Content-Disposition": f'inline; filename="{name}-{thing_id}.pdf"'}
    return Response(
        made(session, thing_id, sheet),
        media_type="application/pdf",
        headers=headers | {"Cache-Control": "no-store"},
    )
