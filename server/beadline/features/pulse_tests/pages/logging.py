"""Log a pulse test."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

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
    WriteSession,
    allowed,
)
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.pages import showing
from beadline.features.pulse_tests.schemas import AnalysedTest, TestFacts
from beadline.kit import forms, words
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
    bed = packings.get(session, packing)
    last = _as_last_time(session, bed)
    return _form(request, bed, settings, last, None, as_last=bool(last))


def _as_last_time(session: Session, packing: Packing) -> dict[str, str]:
    """Return what hardly changes from test to test of a column: tracer and injection."""
    last = pulse_tests.newest_of_column(session, packing)
    if last is None:
        return {}
    return {"tracer": last.tracer, "injection_ml": words.number(last.injection_ml, 4)}


@router.post("/pulse-tests/look", dependencies=[OurForm])
def look(
    request: Request,
    session: ReadSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    file: Upload,
    posted: Posted,
) -> Response:
    """Show what a file would become, as a part of the page."""
    context: dict[str, Any] = {"test": None, "refusal": None, "started_at": ""}
    try:
        packing = packings.get(session, forms.whole(posted.get("packing", ""), where="packing") or 0)
        facts = _facts({"performed_at": now.strftime("%Y-%m-%dT%H:%M"), **_given(posted)}, settings)
        analysed = pulse_tests.analyse(
            file.file.read(),
            filename=file.filename or "file",
            bed=packings.bed_of(packing),
            facts=facts,
            standard=pulse_tests.standard.present(session),
        )
        context["test"] = showing.found(pulse_tests.drawn_up(packing, analysed, facts), analysed)
        context["started_at"] = _told_start(analysed, settings)
    except Refusal as refusal:
        context["refusal"] = refusal
    status = context["refusal"].status if context["refusal"] else 200
    return templates.render(request, "pulse_tests/seen.html", context, status=status)


def _given(posted: Mapping[str, str]) -> dict[str, str]:
    return {name: value for name, value in posted.items() if value.strip()}


def _told_start(analysed: AnalysedTest, settings: Settings) -> str:
    if analysed.started is None or analysed.started.day_only:
        return ""
    moment = analysed.started.moment
    return f"{moment.astimezone(settings.zone) if moment.tzinfo else moment:%Y-%m-%dT%H:%M}"


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
    *,
    as_last: bool = False,
) -> Response:
    context = {
        "packing_id": packing.id,
        "bed_name": f"{packing.column.name}, packing {packing.number}",
        "bed_href": f"/columns/{packing.column.asset_tag}?packing={packing.id}",
        "one_percent_ml": packings.bed_of(packing).bed_volume_m3 * 1e4,
        "max_upload_mb": settings.max_upload_mb,
        "form": {name: posted.get(name, "") for name in ASKED},
        "as_last": as_last,
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "pulse_tests/log_test.html", context, status=status)
