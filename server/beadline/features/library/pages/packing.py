"""Record a packing, show it, hold, release or unpack it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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
    SiteSettings,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.columns import service as columns
from beadline.features.cycles import queries as cycles
from beadline.features.library import service as library
from beadline.features.packings import service as packings
from beadline.features.packings.service import PackingRecord
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.resins import service as resins
from beadline.features.transitions import service as transitions
from beadline.kit import forms, words
from beadline.kit.errors import Invalid, NotFound, Refusal
from beadline.settings import Settings
from beadline.store.tables import Packing, PulseTest

router = APIRouter()
Keeper = Annotated[Person, Depends(allowed("change library"))]
ASKED = (
    "column",
    "lot",
    "step_plan",
    "packed_at",
    "bed_height_cm",
    "slurry_percent",
    "slurry_volume_l",
    "settled_height_cm",
    "consolidated_height_cm",
    "compression_factor",
    "packing_flow_cm_h",
    "packing_pressure_bar",
    "packed_in",
    "packed_by",
    "demanding_feed",
    "cycle_limit",
    "pool_volume_l",
    "pool_tank_l",
    "note",
)
KIND_OF_TEST = {"pass": "ok", "fail": "act", "not valid": "void"}
HOLD = {"title": "Put on hold", "text": "Says to everybody that this bed is not to be run.", "path": "hold"}
RELEASE = {
    "title": "Release from hold",
    "text": "Says that this bed may be run again, as site procedure and qualified people decided.",
    "path": "release",
}
UNPACK = {
    "title": "Record that it was unpacked",
    "text": "The packing and its trend end now.",
    "path": "unpack",
}


@router.get("/packings/new")
def new_packing(request: Request, session: ReadSession, keeper: Keeper, column: int = 0) -> Response:
    """Show the form, filled in as the column's last packing if a column is named."""
    last = packings.newest_in(session, column) if column else None
    return _form(request, session, _as_last_time(last) if last else {}, None, last=last)


def _as_last_time(last: Packing) -> dict[str, str]:
    """Return what hardly changes from packing to packing of a column."""
    pressure = last.packing_pressure_kpa
    numbers = {
        "bed_height_cm": last.bed_height_mm / 10,
        "slurry_percent": last.slurry_percent,
        "slurry_volume_l": last.slurry_volume_l,
        "compression_factor": last.compression_factor,
        "packing_flow_cm_h": last.packing_flow_cm_h,
        "packing_pressure_bar": None if pressure is None else pressure / 100,
        "cycle_limit": last.cycle_limit,
        "pool_volume_l": last.pool_volume_l,
        "pool_tank_l": last.pool_tank_l,
    }
    chosen = {"column": last.column_id, "lot": last.lot_id, "step_plan": last.step_plan_id}
    written = {name: f"{value:g}" for name, value in numbers.items() if value is not None}
    written |= {name: str(each) for name, each in chosen.items()}
    demanding = {"demanding_feed": "yes"} if last.demanding_feed else {}
    return written | {"packed_in": last.packed_in, "packed_by": last.packed_by} | demanding


@router.post("/packings/look", dependencies=[OurForm])
def look(request: Request, session: ReadSession, keeper: Keeper, posted: Posted) -> Response:
    """Show what a packing that is being written comes to, as a part of the page."""
    context: dict[str, Any] = {"worked_out": None, "refusal": None}
    try:
        drawn = packings.drawn_up(
            _record(posted),
            column=columns.get(session, _id(posted, "column")),
            lot=resins.lot(session, _id(posted, "lot")),
            step_plan=transitions.plan(session, _id(posted, "step_plan")),
        )
        volume_l = packings.bed_of(drawn).bed_volume_m3 * 1e3
        context |= {"worked_out": library.as_packed(drawn, ()), "volume_l": volume_l}
    except Refusal as refusal:
        context["refusal"] = refusal
    return templates.render(request, "packings/seen.html", context)


@router.post("/packings", dependencies=[OurForm])
def record(
    request: Request, session: WriteSession, keeper: Keeper, settings: SiteSettings, now: Now, posted: Posted
) -> Response:
    """Record a packing and show it."""
    try:
        with session.begin_nested():
            packed_at = forms.moment(posted.get("packed_at", ""), settings.zone, where="packed_at")
            if packed_at is None or packed_at > now:
                mend = "Give the time, not later than now."
                raise Invalid("When it was packed is missing or to come.", where="packed_at", mend=mend)
            packing = packings.record_packing(
                session,
                column=columns.get(session, _id(posted, "column")),
                lot=resins.lot(session, _id(posted, "lot")),
                step_plan=transitions.plan(session, _id(posted, "step_plan")),
                packed_at=packed_at,
                record=_record(posted),
                by=keeper.user,
                at=now,
            )
    except Refusal as refusal:
        return _form(request, session, posted, refusal)
    return RedirectResponse(f"/packings/{packing.id}", status_code=303)


@router.get("/packings/{packing_id}")
def packing_page(
    request: Request, session: ReadSession, viewer: Viewer, settings: SiteSettings, packing_id: int
) -> Response:
    """Show a packing."""
    return _page(request, session, packings.get(session, packing_id), settings, None)


@router.post("/packings/{packing_id}/{step}", dependencies=[OurForm])
def change(
    request: Request,
    session: WriteSession,
    keeper: Keeper,
    settings: SiteSettings,
    now: Now,
    packing_id: int,
    step: str,
    posted: Posted,
) -> Response:
    """Hold, release or unpack a bed, with a reason."""
    packing = packings.get(session, packing_id)
    why, by = posted.get("reason", ""), keeper.user
    try:
        with session.begin_nested():
            if step == "hold":
                packings.hold(session, packing, why=why, by=by, at=now)
            elif step == "release":
                packings.release(session, packing, why=why, by=by, at=now)
            elif step == "unpack":
                packings.need_reason(why)
                packings.unpack(session, packing, unpacked_at=now, why=why.strip(), by=by, at=now)
            else:
                raise NotFound(f"There is no step {step!r}.", mend="Use one of the page's buttons.")
    except Refusal as refusal:
        return _page(request, session, packing, settings, refusal)
    return RedirectResponse(f"/packings/{packing_id}", status_code=303)


def _id(posted: Mapping[str, str], name: str) -> int:
    return forms.whole(posted.get(name, ""), where=name) or 0


def _record(posted: Mapping[str, str]) -> PackingRecord:
    def given(name: str) -> float | None:
        value = forms.number(posted.get(name, ""), where=name)
        if value is not None and value <= 0:
            raise Invalid("This value must be above 0.", where=name, mend="Or leave it empty.")
        return value

    height, pressure = given("bed_height_cm"), given("packing_pressure_bar")
    settled, consolidated = given("settled_height_cm"), given("consolidated_height_cm")
    share, compression = given("slurry_percent"), given("compression_factor")
    if height is None:
        raise Invalid("The bed height is missing.", where="bed_height_cm", mend="Give it in cm.")
    if share is not None and share > 100:
        raise Invalid("A slurry holds at most 100 % settled bed.", where="slurry_percent", mend="Check it.")
    if compression is not None and compression < 1:
        raise Invalid("A compression factor is 1 or more.", where="compression_factor", mend="Check it.")
    allowed_cycles = forms.whole(posted.get("cycle_limit", ""), where="cycle_limit")
    if allowed_cycles is not None and allowed_cycles < 1:
        raise Invalid("At least one cycle must be allowed.", where="cycle_limit", mend="Or leave it empty.")
    return PackingRecord(
        bed_height_mm=10 * height,
        slurry_percent=share,
        slurry_volume_l=given("slurry_volume_l"),
        settled_height_mm=None if settled is None else 10 * settled,
        consolidated_height_mm=None if consolidated is None else 10 * consolidated,
        compression_factor=compression,
        packing_flow_cm_h=given("packing_flow_cm_h"),
        packing_pressure_kpa=None if pressure is None else 100 * pressure,
        packed_in=posted.get("packed_in", ""),
        packed_by=posted.get("packed_by", ""),
        demanding_feed=bool(posted.get("demanding_feed")),
        cycle_limit=allowed_cycles,
        pool_volume_l=given("pool_volume_l"),
        pool_tank_l=given("pool_tank_l"),
        note=posted.get("note", "").strip(),
    )


def _form(
    request: Request,
    session: Session,
    posted: Mapping[str, str],
    refusal: Refusal | None,
    *,
    last: Packing | None = None,
) -> Response:
    context = {
        "columns": _columns(session),
        "lots": [(one.id, f"{one.lot_number}, {one.resin.name}") for one in resins.lots(session)],
        "step_plans": [(one.id, f"{one.name}, version {one.version}") for one in transitions.plans(session)],
        "form": {name: posted.get(name, "") for name in ASKED},
        "liquids": [(one, one or "not recorded") for one in packings.LIQUIDS],
        "as_last": f"packing {last.number} of {last.column.name}" if last else "",
        "ways": [(one, one or "not recorded") for one in packings.WAYS],
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "packings/new_packing.html", context, status=status)


def _columns(session: Session) -> list[tuple[int, str]]:
    """Return the columns that can be packed, then those that hold a bed and say which."""
    held = {packing.column_id: f", holds packing {packing.number}" for packing in packings.in_use(session)}
    known = sorted(columns.every(session), key=lambda column: (column.id in held, column.name))
    return [(column.id, column.name + held.get(column.id, "")) for column in known]


def _page(
    request: Request, session: Session, packing: Packing, settings: Settings, refusal: Refusal | None
) -> Response:
    tests = pulse_tests.of_packing(session, packing)
    may = "change library" in request.state.person.deeds and packing.unpacked_at is None
    context = {
        "packing": {
            "id": packing.id,
            "column_id": packing.column_id,
            "number": packing.number,
            "bed_name": packing.column.name,
            "bed_href": f"/columns/{packing.column.asset_tag}?packing={packing.id}",
            "unpacked_at": packing.unpacked_at,
            "facts": _facts(packing, settings),
            "note": packing.note,
            "tests": [_test(test) for test in tests],
        }
        | _standing(packing, tests),
        "worked_out": library.as_packed(packing, cycles.of_packing(session, packing.id)),
        "steps": [RELEASE if packing.on_hold_since else HOLD, UNPACK] if may else [],
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "packings/packing.html", context, status=status)


def _standing(packing: Packing, tests: Sequence[PulseTest]) -> dict[str, str]:
    if packing.unpacked_at:
        return {"kind": "void", "condition": "unpacked"}
    if packing.on_hold_since:
        return {"kind": "watch", "condition": "on hold"}
    newest = next((test for test in tests if test.voided_at is None), None)
    qualified = newest is not None and newest.verdict == "pass"
    return {
        "kind": "ok" if qualified else "watch",
        "condition": "qualified" if qualified else "not qualified",
    }


def _test(test: PulseTest) -> dict[str, Any]:
    def value(name: str) -> float | None:
        found = test.estimates.get(name)
        return float(found[0]) if found else None

    return {
        "id": test.id,
        "performed_at": test.performed_at,
        "kind": "void" if test.voided_at else KIND_OF_TEST[test.verdict],
        "verdict": f"{test.verdict}, voided" if test.voided_at else test.verdict,
        "h": value("reduced_plate_height"),
        "asymmetry": value("asymmetry"),
        "logged_by": test.logged_by.full_name,
    }


def _facts(packing: Packing, settings: Settings) -> list[tuple[str, str]]:
    bed, number = packings.bed_of(packing), words.number
    pressure = packing.packing_pressure_kpa
    settled, consolidated = packing.settled_height_mm, packing.consolidated_height_mm
    lines = [
        ("Column", f"{packing.column.name}, {packing.column.asset_tag}"),
        ("Resin", f"{packing.lot.resin.name}, lot {packing.lot.lot_number}"),
        ("Step plan", f"{packing.step_plan.name}, version {packing.step_plan.version}"),
        ("Packed", words.moment(packing.packed_at, settings.zone)),
        ("Unpacked", words.moment(packing.unpacked_at, settings.zone)),
        ("Inner diameter", f"{number(packing.column.inner_diameter_mm / 10)} cm"),
        ("Bed height", f"{number(packing.bed_height_mm / 10)} cm"),
        ("Bed volume", f"{number(bed.bed_volume_m3 * 1e3, 4)} L"),
        ("Slurry, settled share", f"{number(packing.slurry_percent)} %" if packing.slurry_percent else ""),
        ("Slurry volume", f"{number(packing.slurry_volume_l, 4)} L" if packing.slurry_volume_l else ""),
        ("Settled height", f"{number(settled / 10)} cm" if settled else ""),
        ("Height under packing flow", f"{number(consolidated / 10)} cm" if consolidated else ""),
        ("Compression factor, as recorded", number(packing.compression_factor)),
        ("Packing flow", f"{number(packing.packing_flow_cm_h)} cm/h" if packing.packing_flow_cm_h else ""),
        ("Packing pressure", f"{number(pressure / 100, 2)} bar" if pressure else ""),
        ("Packed in", packing.packed_in),
        ("Packed by", packing.packed_by),
        ("Feed", "more viscous or more conductive than the buffers" if packing.demanding_feed else ""),
        ("Cycles allowed", str(packing.cycle_limit or packing.lot.resin.cycle_limit or "")),
        ("Pool, as qualified", f"{number(packing.pool_volume_l, 4)} L" if packing.pool_volume_l else ""),
        ("Pool tank", f"{number(packing.pool_tank_l, 4)} L" if packing.pool_tank_l else ""),
    ]
    return [(label, text) for label, text in lines if text]
