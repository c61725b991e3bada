"""The page of earlier results: a sheet is looked at, corrected, and imported with a reason."""

from __future__ import annotations

import base64
import binascii
import zlib
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Depends, File, Request, Response, UploadFile
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
from beadline.features.intake.service import earlier
from beadline.features.packings import service as packings
from beadline.kit import forms
from beadline.kit.errors import Invalid, Refusal, TooLarge
from beadline.kit.looks import Kind
from beadline.reading.earlier import ROLES, UNITS
from beadline.settings import Settings
from beadline.store.tables import Packing

router = APIRouter()
Engineer = Annotated[Person, Depends(allowed("correct runs"))]
MOST_CARRIED = 1_000_000  # letters of a form's field: what a form can carry from the look to the import
MOST_UNPACKED = 64 * 2**20  # bytes of the sheet itself
ASKED = ("packing", "sheet", "day_order", "reason", "leave_out_refused")
KINDS: Mapping[str, Kind] = {"accepted": "ok", "there already": "void", "refused": "act", "left out": "void"}


async def _form(request: Request) -> FormData:
    return await request.form()


Form = Annotated[FormData, Depends(_form)]


@router.get("/log-a-run/earlier/new")
def earlier_page(request: Request, session: ReadSession, engineer: Engineer, packing: str = "") -> Response:
    """Show the form."""
    return _page(request, session, {"packing": packing}, None)


@router.post("/log-a-run/earlier/look", dependencies=[OurForm])
def look(
    request: Request,
    session: ReadSession,
    engineer: Engineer,
    settings: SiteSettings,
    now: Now,
    form: Form,
    file: Annotated[UploadFile | None, File()] = None,
) -> Response:
    """Show what would become of each row."""
    carried = _Carried.of(form, file)
    try:
        report = _looked(session, form, carried, settings=settings, now=now)
    except Refusal as refusal:
        return _page(request, session, form, refusal, carried=carried)
    return _page(request, session, form, None, carried=carried, report=report)


def _looked(
    session: Session, form: FormData, carried: _Carried, *, settings: Settings, now: datetime
) -> earlier.Report:
    return earlier.look_at_earlier(
        session,
        _packing(session, form),
        carried.content(),
        filename=carried.filename,
        how=earlier.HowToRead() if carried.is_new else _how(form),
        zone=settings.zone,
        at=now,
    )


@router.post("/log-a-run/earlier", dependencies=[OurForm])
def import_sheet(
    request: Request, session: WriteSession, engineer: Engineer, settings: SiteSettings, now: Now, form: Form
) -> Response:
    """Record the accepted rows, and show the bed."""
    carried = _Carried.of(form, None)
    try:
        content, bed = carried.content(), _packing(session, form)
        with session.begin_nested():
            earlier.import_earlier(
                session,
                bed,
                content,
                filename=carried.filename,
                how=_how(form),
                reason=_text(form, "reason"),
                leave_out_refused=_text(form, "leave_out_refused") == "yes",
                came_by="page",
                zone=settings.zone,
                by=engineer.user,
                at=now,
            )
    except Refusal as refusal:
        shown = None
        with suppress(Refusal):
            shown = _looked(session, form, carried, settings=settings, now=now)
        return _page(request, session, form, refusal, carried=carried, report=shown)
    query = urlencode({"packing": bed.id})
    return RedirectResponse(f"/columns/{bed.column.asset_tag}?{query}", status_code=303)


class _Carried:
    """A sheet on its way from the look to the import, packed into a field of the form."""

    def __init__(self, filename: str, packed: str, *, is_new: bool) -> None:
        self.filename = filename
        self.packed = packed
        self.is_new = is_new

    @classmethod
    def of(cls, form: FormData, file: UploadFile | None) -> _Carried:
        if file is not None and file.filename:
            packed = base64.urlsafe_b64encode(zlib.compress(file.file.read())).decode()
            return cls(file.filename, packed, is_new=True)
        return cls(_text(form, "filename") or "file", _text(form, "carried"), is_new=False)

    def content(self) -> bytes:
        if not self.packed:
            raise Invalid("No file was chosen.", where="file", mend="Choose the sheet of earlier results.")
        if len(self.packed) > MOST_CARRIED:
            raise _too_large()
        unpacker = zlib.decompressobj()
        try:
            content = unpacker.decompress(base64.urlsafe_b64decode(self.packed), MOST_UNPACKED)
        except (binascii.Error, zlib.error, ValueError) as error:
            raise Invalid("The sheet was lost on the way.", where="file", mend="Choose it again.") from error
        if unpacker.unconsumed_tail:
            raise _too_large()
        return content


def _too_large() -> TooLarge:
    return TooLarge(
        "This sheet is larger than what the page can take.",
        where="file",
        mend="Save the results of this bed in a file of their own, or use `beadline import-history`.",
    )


def _how(form: FormData) -> earlier.HowToRead:
    """Gather what was changed: `column_3_role`, `column_3_unit`; a unit of another role is not kept."""
    columns: dict[int, dict[str, str]] = {}
    for name, value in form.multi_items():
        _, _, rest = name.partition("column_")
        place, _, key = rest.partition("_")
        if isinstance(value, str) and place.isdigit() and key in ("role", "unit"):
            columns.setdefault(int(place), {})[key] = value.strip()
    return earlier.HowToRead(sheet=_text(form, "sheet"), columns=columns, day_order=_text(form, "day_order"))


def _packing(session: Session, form: FormData) -> Packing:
    number = forms.whole(_text(form, "packing"), where="packing")
    if number is None:
        raise Invalid(
            "No bed was chosen.", where="packing", mend="Choose the bed that the runs were made on."
        )
    return packings.get(session, number)


def _text(form: FormData, name: str) -> str:
    value = form.get(name, "")
    return value if isinstance(value, str) else ""


def _page(
    request: Request,
    session: Session,
    given: Mapping[str, Any],
    refusal: Refusal | None,
    *,
    carried: _Carried | None = None,
    report: earlier.Report | None = None,
) -> Response:
    context = {
        "packings": [
            (one.id, f"{one.column.name}, packing {one.number}{', unpacked' if one.unpacked_at else ''}")
            for one in packings.every(session)
        ],
        "form": {name: given.get(name, "") for name in ASKED},
        "carried": carried,
        "report": report,
        "roles": ROLES,
        "units": UNITS,
        "kinds": KINDS,
        "refusal": refusal,
    }
    status = 200 if refusal is None else refusal.status
    return templates.render(request, "intake/earlier.html", context, status=status)
