"""Log a pulse test."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    SiteSettings,
    WriteSession,
    allowed,
)
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import TestFacts
from beadline.kit import forms
from beadline.kit.errors import Invalid, Refusal
from beadline.settings import Settings
from beadline.store.tables import Packing

router = APIRouter()
Logger = Annotated[Person, Depends(allowed("log a run"))]
Upload = Annotated[UploadFile, File()]
ASKED = ("performed_at", "tracer", "injection_ml")


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
        "bed_href": f"/columns/{packing.column.asset_tag}?packing={packing.id}",
        "one_percent_ml": packings.bed_of(packing).bed_volume_m3 * 1e4,
        "max_upload_mb": settings.max_upload_mb,
        "form": {name: posted.get(name, "") for name in ASKED},
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "pulse_tests/log_test.html", context, status=status)
