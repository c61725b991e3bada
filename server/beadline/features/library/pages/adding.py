"""Add a column, a resin or a lot."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import Now, OurForm, Person, Posted, ReadSession, Session, WriteSession, allowed
from beadline.features.columns import service as columns
from beadline.features.library.pages import criteria
from beadline.features.library.schemas import Field
from beadline.features.resins import service as resins
from beadline.kit import forms
from beadline.kit.errors import Invalid, NotFound, Refusal
from beadline.store.tables import User

router = APIRouter()
Keeper = Annotated[Person, Depends(allowed("change library"))]
Given = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of thing that can be added: how its form reads, what it asks, how it is recorded."""

    title: str
    submit: str
    fields: Callable[[Session], tuple[Field, ...]]
    add: Callable[[Session, Given, User, datetime], object]
    text: str = ""


@router.get("/library/{shelf}/new")
def form(request: Request, session: ReadSession, keeper: Keeper, shelf: str) -> Response:
    """Show the form."""
    return _page(request, session, shelf, {}, None)


@router.post("/library/{shelf}", dependencies=[OurForm])
def add(
    request: Request, session: WriteSession, keeper: Keeper, now: Now, shelf: str, posted: Posted
) -> Response:
    """Record the thing and go back to its shelf."""
    kind = _kind(shelf)
    try:
        with session.begin_nested():
            kind.add(session, posted, keeper.user, now)
    except Refusal as refusal:
        return _page(request, session, shelf, posted, refusal)
    return RedirectResponse(f"/library#{shelf}", status_code=303)


def _page(request: Request, session: Session, shelf: str, posted: Given, refusal: Refusal | None) -> Response:
    kind = _kind(shelf)
    fields = [replace(field, value=posted.get(field.name, field.value)) for field in kind.fields(session)]
    context = {
        "title": kind.title,
        "text": kind.text,
        "submit": kind.submit,
        "action": f"/library/{shelf}",
        "fields": fields,
        "refusal": refusal,
    }
    return templates.render(request, "library/form.html", context, status=refusal.status if refusal else 200)


def _kind(shelf: str) -> Kind:
    if shelf not in KINDS:
        raise NotFound(f"There is no shelf {shelf!r}.", mend="Open the Library.")
    return KINDS[shelf]


def _needed(given: Given, name: str, what: str) -> float:
    value = forms.number(given.get(name, ""), where=name)
    if value is None:
        raise Invalid(f"{what} is missing.", where=name, mend="Give a number.")
    return value


def _positive(given: Given, name: str) -> float | None:
    value = forms.number(given.get(name, ""), where=name)
    if value is not None and value <= 0:
        raise Invalid("This value must be above 0.", where=name, mend="Or leave it empty.")
    return value


def _word(given: Given, name: str, what: str, *, longest: int = 80) -> str:
    value = _text(given, name, longest=longest)
    if not value:
        raise Invalid(f"{what} is missing.", where=name, mend="Fill it in.")
    return value


def _text(given: Given, name: str, *, longest: int = 80) -> str:
    value = given.get(name, "").strip()
    if len(value) > longest:
        raise Invalid("This is too long.", where=name, mend=f"Use at most {longest} characters.")
    return value


def _options(values: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    return tuple((value, value) for value in values)


def _column_fields(session: Session) -> tuple[Field, ...]:
    return (
        Field(name="name", label="Name", required=True),
        Field(name="asset_tag", label="Asset tag", required=True),
        Field(name="area", label="Area"),
        Field(name="kind", label="Kind", type="choice", options=_options(columns.KINDS), required=True),
        Field(name="inner_diameter_cm", label="Inner diameter", type="number", unit="cm", required=True),
        Field(name="pressure_rating_bar", label="Pressure rating", type="number", unit="bar", required=True),
        Field(
            name="hold_up_ml",
            label="Hold-up outside the bed",
            type="number",
            unit="mL",
            hint="Tubing, frits and detector; left empty, none.",
        ),
    )


def _add_column(session: Session, given: Given, by: User, at: datetime) -> object:
    rating = _needed(given, "pressure_rating_bar", "The pressure rating")
    hold_up = forms.number(given.get("hold_up_ml", ""), where="hold_up_ml") or 0.0
    if hold_up < 0:
        raise Invalid("A hold-up is 0 or more.", where="hold_up_ml", mend="Give it in mL.")
    if rating <= 0:
        raise Invalid("A pressure rating is above 0.", where="pressure_rating_bar", mend="Give it in bar.")
    return columns.make_column(
        session,
        asset_tag=_word(given, "asset_tag", "The asset tag", longest=40),
        name=_word(given, "name", "The name"),
        kind=given.get("kind", ""),
        area=_text(given, "area", longest=60),
        inner_diameter_mm=10 * _needed(given, "inner_diameter_cm", "The inner diameter"),
        pressure_rating_kpa=100 * rating,
        hold_up_ml=hold_up,
        by=by,
        at=at,
    )


def _resin_fields(session: Session) -> tuple[Field, ...]:
    chemistries = _options(resins.CHEMISTRIES)
    return (
        Field(name="name", label="Name", required=True),
        Field(name="chemistry", label="Chemistry", type="choice", options=chemistries, required=True),
        Field(name="bead_diameter_um", label="Mean bead diameter", type="number", unit="µm", required=True),
        Field(name="pressure_limit_bar", label="Pressure limit", type="number", unit="bar"),
        Field(name="cycle_limit", label="Cycles allowed", type="number"),
        Field(
            name="swells",
            label="Its bed moves between liquids",
            type="choice",
            options=(("no", "no, or little"), ("yes", "yes, by 10 to 20 %")),
        ),
    )


def _add_resin(session: Session, given: Given, by: User, at: datetime) -> object:
    limit = _positive(given, "pressure_limit_bar")
    cycles = forms.whole(given.get("cycle_limit", ""), where="cycle_limit")
    if cycles is not None and cycles < 1:
        raise Invalid("At least one cycle must be allowed.", where="cycle_limit", mend="Or leave it empty.")
    return resins.make_resin(
        session,
        name=_word(given, "name", "The name"),
        chemistry=given.get("chemistry", ""),
        bead_diameter_um=_needed(given, "bead_diameter_um", "The bead diameter"),
        pressure_limit_kpa=None if limit is None else 100 * limit,
        cycle_limit=cycles,
        swells=given.get("swells") == "yes",
        by=by,
        at=at,
    )


def _lot_fields(session: Session) -> tuple[Field, ...]:
    names = _options(tuple(resin.name for resin in resins.every(session)))
    return (
        Field(name="resin", label="Resin", type="choice", options=names, required=True),
        Field(name="lot_number", label="Lot number", required=True),
        Field(name="received_on", label="Received", type="date"),
    )


def _add_lot(session: Session, given: Given, by: User, at: datetime) -> object:
    received = given.get("received_on", "")
    try:
        day = datetime.fromisoformat(received).date() if received else None
    except ValueError as error:
        raise Invalid("This is not a day.", where="received_on", mend="Write it like 2031-03-12.") from error
    return resins.make_lot(
        session,
        resin=resins.named(session, given.get("resin", "")),
        lot_number=_word(given, "lot_number", "The lot number", longest=60),
        received_on=day,
        by=by,
        at=at,
    )


KINDS = {
    "criteria": Kind(
        "Set the criteria of pulse tests",
        "Keep these criteria",
        criteria.fields,
        criteria.add,
        "An empty limit is not judged. Tests that were judged before keep the criteria they were judged by. "
        "The shipped limits are common practice without a source: h of 5 to 10 is ordinary, below 5 is for "
        "demanding separations, above 10 is a reason to think of repacking; from an asymmetry near 1.8 the "
        "product pool grows.",
    ),
    "columns": Kind("Add a column", "Add this column", _column_fields, _add_column),
    "resins": Kind("Add a resin", "Add this resin", _resin_fields, _add_resin),
    "lots": Kind("Add a resin lot", "Add this lot", _lot_fields, _add_lot),
}
