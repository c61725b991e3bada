"""Pulse tests, for programs: log one, read them, void one."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, File, Form, UploadFile
from pydantic import BaseModel, Field

from beadline.boundary.deps import Now, Person, ReadSession, SiteSettings, Viewer, WriteSession, allowed
from beadline.boundary.shapes import DoubtLine, Quantity, Why
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import TestFacts
from beadline.kit import forms
from beadline.kit.errors import Invalid
from beadline.science import metrics
from beadline.store.tables import PulseTest

router = APIRouter(prefix="/api/v1", tags=["pulse tests"])
Logger = Annotated[Person, Depends(allowed("log a run"))]
Engineer = Annotated[Person, Depends(allowed("correct runs"))]
UNITS = {one.name: one.stored_unit for one in metrics.PULSE}


class CheckedNumber(BaseModel):
    """A criterion applied; `near` if a limit lies within two standard uncertainties."""

    name: str
    low: float | None
    high: float | None
    ok: bool
    near: bool
    sentence: str
    source: str


class PulseTestLine(BaseModel):
    """A pulse test in short; the verdict is pass, fail or not valid."""

    id: int
    packing_id: int
    performed_at: datetime
    verdict: str
    voided: bool
    results: dict[str, Quantity]
    address: str


class WholePulseTest(PulseTestLine):
    """A pulse test with its checks, its doubts and by what it was judged."""

    tracer: str
    injection_ml: float
    corrected: dict[str, Quantity] = Field(description="With injection and system volume taken off.")
    withheld: dict[str, str] = Field(description="By metric: why there is no value.")
    doubts: list[DoubtLine]
    checks: list[CheckedNumber]
    method: str
    method_version: str
    logged_by: str
    logged_at: datetime
    void_reason: str
    filename: str
    trace_sha256: str
    trace: str = Field(description="Address of the file as received.")


@router.get("/packings/{packing_id}/pulse-tests")
def list_tests(session: ReadSession, viewer: Viewer, packing_id: int) -> list[PulseTestLine]:
    """List a bed's pulse tests, the newest first; voided ones are marked."""
    packing = packings.get(session, packing_id)
    return [PulseTestLine(**_short(test)) for test in pulse_tests.of_packing(session, packing)]


@router.get("/pulse-tests/{test_id}")
def one_test(session: ReadSession, viewer: Viewer, test_id: int) -> WholePulseTest:
    """Give a pulse test with all that was said of it."""
    return _whole(pulse_tests.get(session, test_id))


@router.post("/packings/{packing_id}/pulse-tests", status_code=201)
def log_test(
    session: WriteSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    packing_id: int,
    file: Annotated[UploadFile, File(description="The trace as the skid exported it.")],
    injection_ml: Annotated[float, Form(gt=0)],
    performed_at: Annotated[
        str, Form(description="When the tracer was injected: ISO 8601, in the site's zone if it names none.")
    ],
    tracer: Annotated[str, Form(max_length=80)] = "",
) -> WholePulseTest:
    """Read, judge and record a pulse test; one that passes qualifies the bed."""
    performed = forms.moment(performed_at, settings.zone, where="performed_at")
    if performed is None:
        raise Invalid("When the test was performed is missing.", where="performed_at", mend="Give the time.")
    test = pulse_tests.log(
        session,
        packing=packings.get(session, packing_id),
        content=file.file.read(),
        filename=file.filename or "file",
        facts=TestFacts(performed_at=performed, injection_ml=injection_ml, tracer=tracer.strip()),
        by=logger.user,
        at=now,
    )
    return _whole(pulse_tests.get(session, test.id))


@router.post("/pulse-tests/{test_id}/void")
def void(session: WriteSession, engineer: Engineer, now: Now, test_id: int, why: Why) -> WholePulseTest:
    """Take a test out of what qualifies its bed; it stays in the record."""
    test = pulse_tests.get(session, test_id)
    pulse_tests.void(session, test, reason=why.reason, by=engineer.user, at=now)
    return _whole(test)


def _short(test: PulseTest) -> dict[str, Any]:
    return {
        "id": test.id,
        "packing_id": test.packing_id,
        "performed_at": test.performed_at,
        "verdict": test.verdict,
        "voided": test.voided_at is not None,
        "results": _numbers(test.estimates),
        "address": f"/pulse-tests/{test.id}",
    }


def _whole(test: PulseTest) -> WholePulseTest:
    return WholePulseTest(
        **_short(test),
        tracer=test.tracer,
        injection_ml=test.injection_ml,
        corrected=_numbers(test.corrected),
        withheld=test.withheld,
        doubts=[DoubtLine(**doubt) for doubt in test.doubts],
        checks=[_check(check) for check in test.checks],
        method=test.method,
        method_version=test.method_version,
        logged_by=test.logged_by.name,
        logged_at=test.logged_at,
        void_reason=test.void_reason,
        filename=test.trace.filename,
        trace_sha256=test.trace.sha256,
        trace=f"/api/v1/traces/{test.trace_id}",
    )


def _numbers(found: dict[str, Any]) -> dict[str, Quantity]:
    return {name: Quantity(value=value, u=u, unit=UNITS[name]) for name, (value, u) in found.items()}


def _check(check: dict[str, Any]) -> CheckedNumber:
    low, high = check["limits"]
    plain = {name: check[name] for name in ("name", "ok", "near", "sentence", "source")}
    return CheckedNumber(low=low, high=high, **plain)
