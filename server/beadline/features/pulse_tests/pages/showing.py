"""Show a pulse test, and void it."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import AnalysedTest, numbers, peak
from beadline.kit.errors import Refusal
from beadline.store.tables import EarlierPulseResult, PulseTest

router = APIRouter()
Engineer = Annotated[Person, Depends(allowed("correct runs"))]


@router.get("/pulse-tests/{test_id}")
def test_page(request: Request, session: ReadSession, viewer: Viewer, test_id: int) -> Response:
    """Show a test: verdict, construction on the peak, numbers, working."""
    return _page(request, session, pulse_tests.get(session, test_id), None)


@router.post("/pulse-tests/{test_id}/void", dependencies=[OurForm])
def void(
    request: Request, session: WriteSession, engineer: Engineer, now: Now, test_id: int, posted: Posted
) -> Response:
    """Void a test with a reason."""
    test = pulse_tests.get(session, test_id)
    try:
        with session.begin_nested():
            pulse_tests.void(session, test, reason=posted.get("reason", ""), by=engineer.user, at=now)
    except Refusal as refusal:
        return _page(request, session, test, refusal)
    return RedirectResponse(f"/pulse-tests/{test_id}", status_code=303)


def _page(request: Request, session: Session, test: PulseTest, refusal: Refusal | None) -> Response:
    context = {
        "test": _view(session, test),
        "may_void": "correct runs" in request.state.person.deeds and test.voided_at is None,
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "pulse_tests/test.html", context, status=status)


def _view(session: Session, test: PulseTest) -> dict[str, Any]:
    packing = packings.get(session, test.packing_id)
    analysed = pulse_tests.read_again(session, test, packing)
    return found(test, analysed) | {
        "id": test.id,
        "bed_name": f"{packing.column.name}, packing {packing.number}",
        "bed_href": f"/columns/{packing.column.asset_tag}?packing={packing.id}",
        "performed_at": test.performed_at,
        "tracer": test.tracer,
        "injection_ml": test.injection_ml,
        "filename": test.trace.filename,
        "trace_id": test.trace_id,
        "voided_at": test.voided_at,
        "void_reason": test.void_reason,
        "logged_by": test.logged_by.full_name,
        "logged_at": test.logged_at,
        "earlier": [_earlier(one, test.criteria) for one in pulse_tests.earlier(session, test)],
    }


def _earlier(one: EarlierPulseResult, criteria: dict[str, Any]) -> dict[str, Any]:
    """Return a result that no longer counts: by which method, what it said, and what replaced it."""
    return {
        "method": f"{one.method} {one.method_version}",
        "verdict": one.verdict,
        "kind": numbers.LEADS[one.verdict][0],
        "until": one.replaced_at,
        "recomputation_id": one.recomputation_id,
        "why": one.recomputation.reason,
        "numbers": numbers.groups(one, criteria),
    }


def found(test: PulseTest, analysed: AnalysedTest) -> dict[str, Any]:
    """Return what a test's trace says, whether it is recorded or not."""
    lede = numbers.lede(test)
    return {
        "kind": lede.kind,
        "verdict": test.verdict,
        "lede": lede,
        "numbers": numbers.groups(test, test.criteria),
        "checks": [numbers.check_line(check) for check in test.checks],
        "doubts": [doubt["sentence"] for doubt in test.doubts],
        "method": test.method,
        "method_version": test.method_version,
        "recognised": analysed.notes,
        "working": [(name, _written(value)) for name, value in sorted(test.working.items())],
        "chart": peak.chart(analysed.result, analysed.unit),
    }


def _written(value: Any) -> str:
    values = value if isinstance(value, list) else [value]
    return ", ".join(f"{each:.6g}" if isinstance(each, float) else str(each) for each in values)
