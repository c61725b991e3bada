"""The page Log a run, and what is done with a run that is logged."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
from fastapi import Form as FormField
from fastapi.responses import RedirectResponse
from starlette.datastructures import FormData

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    ReadSession,
    Session,
    SiteSettings,
    WriteSession,
    allowed,
)
from beadline.features.cycles import service as cycles
from beadline.features.cycles.schemas import RunFacts
from beadline.features.intake import service as intake
from beadline.features.intake.schemas import Corrections, TypedValues, Unread
from beadline.features.packings import service as packings
from beadline.kit import forms
from beadline.kit.errors import Conflict, Invalid, Refusal
from beadline.reading.profile import QUANTITIES, USES
from beadline.settings import Settings
from beadline.store.tables import Packing

router = APIRouter()
Logger = Annotated[Person, Depends(allowed("log a run"))]
Engineer = Annotated[Person, Depends(allowed("correct runs"))]
Reason = Annotated[str, FormField()]
Upload = Annotated[UploadFile, File()]
ASKED = ("packing", "batch", "started_at", "number", "note")
TYPED = ("hetp_cm", "asymmetry", "mean_cv", "variance_cv2", "pressure_drop_bar")


async def _form(request: Request) -> FormData:
    return await request.form()


Form = Annotated[FormData, Depends(_form)]


@router.get("/log-a-run")
def log_page(
    request: Request, session: ReadSession, logger: Logger, settings: SiteSettings, packing: str = ""
) -> Response:
    """Show the form."""
    last = cycles.newest_logged_by(session, logger.user)
    given = {"packing": packing or (str(last.packing_id) if last else "")}
    return _page(request, session, settings, given, None, last_batch=last.batch if last else "")


@router.post("/log-a-run/look", dependencies=[OurForm])
def look(
    request: Request,
    session: ReadSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    file: Upload,
    form: Form,
) -> Response:
    """Show what a file would become, as a part of the page."""
    context: dict[str, Any] = {
        "uses": USES,
        "quantities": QUANTITIES,
        "columns": (),
        "seen": None,
        "another_run": _text(form, "another_run") == "yes",
        "refusal": None,
    }
    status = 200
    try:
        seen, profile = intake.look(
            session,
            _packing(session, form),
            file.file.read(),
            filename=file.filename or "file",
            number=forms.whole(_text(form, "number"), where="number"),
            started=forms.moment(_text(form, "started_at"), settings.zone, where="started_at"),
            at=now,
            zone=settings.zone,
            corrections=_corrections(form),
        )
        context |= {"seen": seen, "columns": profile.columns}
    except Refusal as refusal:
        context["refusal"], status = refusal, refusal.status
        if isinstance(refusal, Unread) and refusal.draft is not None:
            context["columns"] = refusal.draft.columns
    return templates.render(request, "intake/seen.html", context, status=status)


@router.post("/log-a-run", dependencies=[OurForm])
def log(
    request: Request,
    reader: ReadSession,
    session: WriteSession,
    logger: Logger,
    settings: SiteSettings,
    now: Now,
    file: Upload,
    form: Form,
) -> Response:
    """Record a run and show it on its bed's page."""
    content, filename = file.file.read(), file.filename or "file"
    try:
        corrections = _corrections(form)
        before = intake.ahead(
            reader, _packing(reader, form), content, filename=filename, corrections=corrections
        )
        reader.rollback()  # lets go of its connection; the other transaction begins now
        packing = _packing(session, form)
        with session.begin_nested():
            logged = intake.log_run(
                session,
                packing,
                content,
                filename=filename,
                facts=_facts(form, settings),
                came_by="page",
                corrections=corrections,
                before=before,
                by=logger.user,
                at=now,
                zone=settings.zone,
            )
    except Refusal as refusal:
        return _page(request, session, settings, form, refusal, status=refusal.status)
    if logged.already:
        who, when = logged.cycle.logged_by.full_name, f"{logged.cycle.logged_at:%-d %b %Y}"
        said = f"This file is recorded already, as cycle {logged.cycle.number}, logged by {who} on {when}."
        note = Conflict(said, mend="Nothing was changed. Choose another file, or open the bed's page.")
        return _page(request, session, settings, form, note)
    return _to_bed(packing, number=logged.cycle.number)


@router.get("/log-a-run/typed/new")
def typed_page(request: Request, session: ReadSession, logger: Logger, packing: str = "") -> Response:
    """Show the form for values without a trace."""
    return _typed_page(request, session, {"packing": packing}, None)


@router.post("/log-a-run/typed", dependencies=[OurForm])
def log_typed(
    request: Request, session: WriteSession, logger: Logger, settings: SiteSettings, now: Now, form: Form
) -> Response:
    """Record values that were computed elsewhere, and show them on their bed's page."""
    try:
        packing = _packing(session, form)
        with session.begin_nested():
            logged = intake.log_typed(
                session,
                packing,
                _typed_values(form),
                facts=_facts(form, settings),
                came_by="page",
                by=logger.user,
                at=now,
            )
    except Refusal as refusal:
        return _typed_page(request, session, form, refusal, status=refusal.status)
    query = urlencode({"packing": packing.id, "cycle": logged.cycle.number})
    return RedirectResponse(f"/columns/{packing.column.asset_tag}?{query}", status_code=303)


def _typed_values(form: FormData) -> TypedValues:
    given = {name: forms.number(_text(form, name), where=name) for name in TYPED}
    hetp_cm, pressure_bar = given["hetp_cm"], given["pressure_drop_bar"]
    return TypedValues(
        hetp_m=None if hetp_cm is None else hetp_cm / 100,
        asymmetry=given["asymmetry"],
        mean_cv=given["mean_cv"],
        variance_cv2=given["variance_cv2"],
        pressure_drop_pa=None if pressure_bar is None else pressure_bar * 1e5,
    )


def _typed_page(
    request: Request,
    session: Session,
    given: Mapping[str, Any],
    refusal: Refusal | None,
    *,
    status: int = 200,
) -> Response:
    context = {
        "packings": [(p.id, f"{p.column.name}, packing {p.number}") for p in packings.in_use(session)],
        "form": {name: given.get(name, "") for name in (*ASKED, *TYPED)},
        "refusal": refusal,
        "errors": {refusal.where: refusal.message} if refusal else {},
    }
    return templates.render(request, "intake/typed.html", context, status=status)


@router.post("/cycles/{cycle_id}/void", dependencies=[OurForm])
def void(session: WriteSession, engineer: Engineer, now: Now, cycle_id: int, reason: Reason = "") -> Response:
    """Void a wrong run."""
    return _to_bed(intake.void_run(session, cycle_id, reason=reason, by=engineer.user, at=now))


@router.post("/cycles/{cycle_id}/exclude", dependencies=[OurForm])
def exclude(
    session: WriteSession, engineer: Engineer, now: Now, cycle_id: int, reason: Reason = ""
) -> Response:
    """Leave a cycle out of the statistics."""
    packing = intake.exclude_run(session, cycle_id, reason=reason, by=engineer.user, at=now)
    return _to_bed(packing, number=cycles.get(session, cycle_id).number)


@router.post("/cycles/{cycle_id}/count-again", dependencies=[OurForm])
def count_again(
    session: WriteSession, engineer: Engineer, now: Now, cycle_id: int, reason: Reason = ""
) -> Response:
    """Take an excluded cycle back into the statistics."""
    packing = intake.count_run_again(session, cycle_id, reason=reason, by=engineer.user, at=now)
    return _to_bed(packing, number=cycles.get(session, cycle_id).number)


def _to_bed(packing: Packing, *, number: int | None = None) -> Response:
    query = {"packing": packing.id} | ({"cycle": number} if number is not None else {})
    return RedirectResponse(f"/columns/{packing.column.asset_tag}?{urlencode(query)}", status_code=303)


def _page(
    request: Request,
    session: Session,
    settings: Settings,
    given: Mapping[str, Any],
    refusal: Refusal | None,
    *,
    status: int = 200,
    last_batch: str = "",
) -> Response:
    context = {
        "packings": [(p.id, f"{p.column.name}, packing {p.number}") for p in packings.in_use(session)],
        "form": {name: given.get(name, "") for name in ASKED},
        "refusal": refusal,
        "max_upload_mb": settings.max_upload_mb,
        "last_batch": last_batch,
    }
    return templates.render(request, "intake/log_run.html", context, status=status)


def _text(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def _packing(session: Session, form: FormData) -> Packing:
    number = forms.whole(_text(form, "packing"), where="packing")
    if number is None:
        raise Invalid("No bed was chosen.", where="packing", mend="Choose the bed that the run was made on.")
    packing = packings.get(session, number)
    if packing.unpacked_at is not None:
        raise Conflict("This bed was unpacked.", where="packing", mend="Choose the column's present packing.")
    return packing


def _facts(form: FormData, settings: Settings) -> RunFacts:
    return RunFacts(
        batch=_text(form, "batch"),
        started_at=forms.moment(_text(form, "started_at"), settings.zone, where="started_at"),
        number=forms.whole(_text(form, "number"), where="number"),
        note=_text(form, "note"),
        another_run=_text(form, "another_run") == "yes",
    )


def _corrections(form: FormData) -> Corrections:
    """Gather what was corrected: `column_3_use`, `column_3_quantity`, `column_3_unit`, `switch_NAME` in L."""
    columns: dict[int, dict[str, str]] = {}
    switches: dict[str, float] = {}
    for name, value in form.multi_items():
        if not isinstance(value, str):
            continue
        if name.startswith("column_"):
            _, place, field = name.split("_", 2)
            if place.isdigit() and field in ("use", "quantity", "unit"):
                columns.setdefault(int(place), {})[field] = value.strip()
        elif name.startswith("switch_"):
            litres = forms.number(value, where=name)
            if litres is not None:
                switches[name.removeprefix("switch_")] = litres * 1e-3
    return Corrections(columns=columns, switches_m3=switches)
