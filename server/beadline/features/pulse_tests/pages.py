"""The page Pulse test."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import urlencode

import numpy as np
from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    SiteSettings,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import TestFacts
from beadline.kit import forms, looks, words
from beadline.kit.errors import Invalid, Refusal
from beadline.science import metrics
from beadline.science.pulse import PulseResult
from beadline.settings import Settings
from beadline.store.tables import Packing, PulseTest

router = APIRouter(include_in_schema=False)
Logger = Annotated[Person, Depends(allowed("log a run"))]
Engineer = Annotated[Person, Depends(allowed("set baseline"))]
Upload = Annotated[UploadFile, File()]
ASKED = ("performed_at", "tracer", "injection_ml")
MOST_POINTS = 500
RULERS = {"half_line": "width at half height", "asymmetry_line": "a and b for asymmetry"}
LOOKS: dict[str, tuple[looks.Kind, str]] = {
    "pass": ("ok", "The bed passes."),
    "fail": ("act", "The bed does not pass."),
    "not valid": ("void", "The test itself can't be trusted."),
}


@router.get("/pulse-tests/new")
def new_test(
    request: Request, session: ReadSession, logger: Logger, settings: SiteSettings, packing: int
) -> Response:
    """Show the form."""
    return _form(request, packings.get(session, packing), settings, {}, None)


@router.post("/pulse-tests", dependencies=[OurForm])
def log_test(
    request: Request,
    session: WriteSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    file: Upload,
    posted: Posted,
) -> Response:
    """Read, judge and record a test, then show it."""
    packing = packings.get(session, forms.whole(posted.get("packing", ""), where="packing") or 0)
    try:
        with session.begin_nested():
            test = pulse_tests.log(
                session,
                packing=packing,
                content=file.file.read(),
                filename=file.filename or "file",
                facts=_facts(posted, settings),
                by=logger.user,
                at=now,
            )
    except Refusal as refusal:
        return _form(request, packing, settings, posted, refusal)
    return RedirectResponse(f"/pulse-tests/{test.id}", status_code=303)


@router.get("/pulse-tests/{test_id}")
def test_page(request: Request, session: ReadSession, viewer: Viewer, test_id: int) -> Response:
    """Show a test: verdict, construction on the peak, numbers, working."""
    test = pulse_tests.get(session, test_id)
    context = {
        "test": _view(session, test),
        "may_void": "set baseline" in viewer.deeds and test.voided_at is None,
    }
    return templates.render(request, "pulse_tests/test.html", context)


@router.post("/pulse-tests/{test_id}/void", dependencies=[OurForm])
def void(session: WriteSession, engineer: Engineer, now: Now, test_id: int, posted: Posted) -> Response:
    """Void a test with a reason."""
    test = pulse_tests.get(session, test_id)
    pulse_tests.void(session, test, reason=posted.get("reason", ""), by=engineer.user, at=now)
    return RedirectResponse(f"/pulse-tests/{test_id}", status_code=303)


def _facts(posted: Mapping[str, str], settings: Settings) -> TestFacts:
    performed = forms.moment(posted.get("performed_at", ""), settings.zone, where="performed_at")
    injected = forms.number(posted.get("injection_ml", ""), where="injection_ml")
    if performed is None:
        raise Invalid("When the test was performed is missing.", where="performed_at", mend="Give the time.")
    if injected is None:
        raise Invalid("The injected volume is missing.", where="injection_ml", mend="Give it in mL.")
    return TestFacts(performed_at=performed, injection_ml=injected, tracer=posted.get("tracer", "").strip())


def _form(
    request: Request,
    packing: Packing,
    settings: Settings,
    posted: Mapping[str, str],
    refusal: Refusal | None,
) -> Response:
    context = {
        "packing_id": packing.id,
        "bed_name": f"{packing.column.name}, packing {packing.number}",
        "bed_href": _href(packing),
        "one_percent_ml": packings.bed_of(packing).bed_volume_m3 * 1e4,
        "max_upload_mb": settings.max_upload_mb,
        "form": {name: posted.get(name, "") for name in ASKED},
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "pulse_tests/log_test.html", context, status=status)


def _href(packing: Packing) -> str:
    return f"/columns/{packing.column.asset_tag}?{urlencode({'packing': packing.id})}"


def _view(session: Session, test: PulseTest) -> dict[str, Any]:
    packing = packings.get(session, test.packing_id)
    kind, lead = LOOKS[test.verdict]
    failed = [check["sentence"] for check in test.checks if not check["ok"]]
    analysed = pulse_tests.read_again(session, test, packing)
    return {
        "id": test.id,
        "bed_name": f"{packing.column.name}, packing {packing.number}",
        "bed_href": _href(packing),
        "kind": kind,
        "verdict": test.verdict,
        "lede": looks.Lede(lead, " ".join(failed) or "Every criterion is met.", kind),
        "performed_at": test.performed_at,
        "tracer": test.tracer,
        "injection_ml": test.injection_ml,
        "filename": test.trace.filename,
        "trace_id": test.trace_id,
        "voided_at": test.voided_at,
        "void_reason": test.void_reason,
        "numbers": _numbers(test),
        "checks": [_check(check) for check in test.checks],
        "doubts": [doubt["sentence"] for doubt in test.doubts],
        "method": test.method,
        "method_version": test.method_version,
        "logged_by": test.logged_by.full_name,
        "logged_at": test.logged_at,
        "recognised": analysed.notes,
        "working": [(name, _written(value)) for name, value in sorted(test.working.items())],
        "chart": _chart(analysed.result),
    }


def _numbers(test: PulseTest) -> list[tuple[str, list[dict[str, str]]]]:
    groups = [("as measured", test.estimates)]
    if test.corrected:
        groups.append(("of the bed alone, injection and system taken off", test.corrected))
    return [
        (title, [_line(metric, found, test.withheld) for metric in metrics.PULSE]) for title, found in groups
    ]


def _line(
    metric: metrics.Metric, found: Mapping[str, list[float]], withheld: Mapping[str, str]
) -> dict[str, str]:
    known = metric.name in found
    written = ("", "")
    if known:
        value, u = (each * metric.factor for each in found[metric.name])
        written = words.with_uncertainty(value, u, metric.digits)
    return {
        "label": metric.label,
        "unit": metric.unit,
        "value": written[0],
        "u": written[1],
        "limit": "",
        "kind": "",
        "doubt": "" if known else withheld.get(metric.name, ""),
    }


def _check(check: Mapping[str, Any]) -> dict[str, str]:
    found, (low, high) = check["value"], check["limits"]
    metric = metrics.by_name(metrics.PULSE)[check["name"]]
    kind = "void" if found is None else "act" if not check["ok"] else "watch" if check["near"] else "ok"
    return {
        "name": metric.label,
        "value": words.number(found["value"], metric.digits) if found else "",
        "limits": looks.span(low, high, 3),
        "sentence": check["sentence"],
        "source": check["source"],
        "kind": kind,
    }


def _written(value: Any) -> str:
    values = value if isinstance(value, list) else [value]
    return ", ".join(f"{each:.6g}" if isinstance(each, float) else str(each) for each in values)


def _chart(result: PulseResult) -> dict[str, Any] | None:
    """Return the peak with its constructions, in column volumes."""
    if not result.curve_volume_m3.size:
        return None
    volume = float(result.working["bed_volume_m3"])  # type: ignore[arg-type]
    step = max(1, -(-result.curve_volume_m3.size // MOST_POINTS))
    apex = result.working.get("apex_m3")
    height = result.working.get("height")
    lines = {name: _in_cv(result.working[name], volume) for name in RULERS if name in result.working}
    sides = [f"tangent_{side}" for side in ("front", "back")]
    window = result.working.get("integration_window_m3")
    return {
        "volume": np.round(result.curve_volume_m3[::step] / volume, 5).tolist(),
        "signal": result.curve_signal[::step].tolist(),
        "fit": result.curve_fit[::step].tolist(),
        "unit": "signal",
        "apex": [apex / volume, height] if isinstance(apex, float) and isinstance(height, float) else None,
        "rulers": [{"name": RULERS[name], "line": line} for name, line in lines.items()],
        "tangents": [_in_cv(result.working[side], volume) for side in sides if side in result.working],
        "window": [each / volume for each in window] if isinstance(window, list) else None,
    }


def _in_cv(line: Any, volume_m3: float) -> list[float]:
    x0, y0, x1, y1 = line
    return [x0 / volume_m3, y0, x1 / volume_m3, y1]
