"""The page Baseline and limits of a packing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
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
from beadline.features.accounts import service as accounts
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.intake.schemas import WouldChange
from beadline.features.intake.service import limiting, settings_words
from beadline.features.intake.service.limiting import FEWEST_CYCLES_PER_ALARM, MOST_CYCLES_PER_ALARM, WHOLE
from beadline.features.packings import service as packings
from beadline.kit import forms
from beadline.kit.errors import Invalid, Refusal
from beadline.science import metrics
from beadline.science.drift import FixedLimits, Settings
from beadline.store.tables import Packing, User

router = APIRouter()
Keeper = Annotated[Person, Depends(allowed("set baseline"))]
SIDES = ("alert_low", "alert_high", "action_low", "action_high")
RATES = ("one_false_alarm_in", "action_one_in")


@router.get("/packings/{packing_id}/baseline")
def baseline_page(request: Request, session: ReadSession, viewer: Viewer, packing_id: int) -> Response:
    """Show by what a bed's cycles are judged, and every version of it."""
    return _page(request, session, packings.get(session, packing_id))


@router.post("/packings/{packing_id}/baseline", dependencies=[OurForm])
def change(
    request: Request, session: WriteSession, keeper: Keeper, now: Now, packing_id: int, posted: Posted
) -> Response:
    """Show what other settings would have done, or save them."""
    packing = packings.get(session, packing_id)
    shown: WouldChange | None = None
    fix = bool(posted.get("fix"))
    try:
        proposed = _proposed(packing, intake.present_settings(session, packing), posted)
        shown = intake.would_change(session, packing, proposed, fix=fix)
        if posted.get("do") == "save":
            if fix:
                _check_password(session, keeper.user, posted.get("password", ""), now)
            with session.begin_nested():
                intake.change_baseline(
                    session,
                    packing,
                    proposed,
                    fix=fix,
                    seal=posted.get("seal", ""),
                    reason=posted.get("reason", ""),
                    by=keeper.user,
                    at=now,
                )
            return RedirectResponse(f"/packings/{packing_id}/baseline", status_code=303)
    except Refusal as refusal:
        return _page(request, session, packing, posted=posted, shown=shown, refusal=refusal)
    return _page(request, session, packing, posted=posted, shown=shown)


def _check_password(session: Session, user: User, password: str, at: datetime) -> None:
    """Let only who signed in sign; a failed try is counted, since nothing is rolled back here."""
    if accounts.check_password(session, name=user.name, password=password, at=at) is None:
        raise accounts.not_yours()


def _proposed(packing: Packing, present: Settings, posted: Mapping[str, str]) -> Settings:
    whole = {name: _within(posted, name, low, high) for name, (low, high) in WHOLE.items()}
    rates = {name: _within(posted, name, FEWEST_CYCLES_PER_ALARM, MOST_CYCLES_PER_ALARM) for name in RATES}
    limiting.check_rates(**rates)
    limits = dict(present.fixed_limits)
    for key, metric in limiting.limited(packing):
        limits.pop(key, None)
        chosen = _limits(posted, metric)
        if chosen != FixedLimits():
            limits[key] = chosen
    return replace(
        present,
        baseline_cycles=int(whole["baseline_cycles"]),
        baseline_start=int(whole["baseline_start"]),
        one_false_alarm_in=rates["one_false_alarm_in"],
        action_one_in=rates["action_one_in"],
        use_fleet=posted.get("use_fleet", _yes_or_no(chosen=present.use_fleet)) == "yes",
        fixed_limits=limits,
    )


def _yes_or_no(*, chosen: bool) -> str:
    return "yes" if chosen else "no"


def _within(posted: Mapping[str, str], name: str, low: float, high: float) -> float:
    read = forms.whole if name in WHOLE else forms.number
    value = read(posted.get(name, ""), where=name)
    if value is None or not low <= value <= high:
        raise Invalid(
            f"“{posted.get(name, '')}” is not possible here.", where=name, mend=f"Give {low:g} to {high:g}."
        )
    return value


def _limits(posted: Mapping[str, str], metric: metrics.Metric) -> FixedLimits:
    found: dict[str, float | None] = {}
    for side in SIDES:
        name = f"{metric.name}_{side}"
        value = forms.number(posted.get(name, ""), where=name)
        found[side] = None if value is None else metric.stored(value)
    limits = FixedLimits(**found)
    limiting.check_order(limits, metric.label, where=f"{metric.name}_alert_low")
    return limits


def _page(
    request: Request,
    session: Session,
    packing: Packing,
    *,
    posted: Mapping[str, str] | None = None,
    shown: WouldChange | None = None,
    refusal: Refusal | None = None,
) -> Response:
    present = intake.present_settings(session, packing)
    limited = limiting.limited(packing)
    form = (
        _form(present, limited)
        if posted is None
        else {"fix": "", "use_fleet": _yes_or_no(chosen=present.use_fleet), "reason": "", **posted}
    )
    experience = drift.contribution(session, packing, present, keys=[key for key, _ in limited])
    context = {
        "packing": packing,
        "bed_href": f"/columns/{packing.column.asset_tag}?packing={packing.id}",
        "official": limited[0][0].rpartition("/")[0],
        "limited": [metric for _, metric in limited],
        "note": intake.present_note(session, packing),
        "form": form,
        "experience": experience,
        "promises": [settings_words.promise(one) for one in experience.promises] if experience else [],
        "spreads": [settings_words.spread(one) for one in experience.spreads] if experience else [],
        "use_fleet": present.use_fleet,
        "shown": shown,
        "refusal": refusal,
        "versions": intake.versions(session, packing),
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "intake/baseline.html", context, status=status)


def _form(present: Settings, limited: Sequence[tuple[str, metrics.Metric]]) -> dict[str, Any]:
    """Return what the form holds: the present settings, in the units of the screen."""
    written: dict[str, Any] = {name: getattr(present, name) for name in WHOLE}
    written |= {name: f"{getattr(present, name):g}" for name in RATES}
    for key, metric in limited:
        limits = present.fixed_limits.get(key, FixedLimits())
        for side in SIDES:
            value = getattr(limits, side)
            written[f"{metric.name}_{side}"] = "" if value is None else f"{metric.shown(value):.6g}"
    chosen = {"fix": "yes" if present.fixed_cycles else "", "use_fleet": _yes_or_no(chosen=present.use_fleet)}
    return written | chosen | {"reason": ""}
