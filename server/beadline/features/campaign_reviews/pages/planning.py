"""Plan a campaign, from the Calendar, and call it off."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Annotated

from fastapi import APIRouter, Depends, Response
from fastapi.responses import RedirectResponse

from beadline.boundary.deps import Now, OurForm, Person, Posted, WriteSession, allowed
from beadline.features.campaign_reviews import service as reviews
from beadline.features.campaign_reviews.schemas import Plan
from beadline.features.packings import service as packings
from beadline.kit import forms
from beadline.kit.errors import Invalid

router = APIRouter()
Planner = Annotated[Person, Depends(allowed("review a campaign"))]


@router.post("/planned-campaigns", dependencies=[OurForm])
def plan(session: WriteSession, planner: Planner, now: Now, posted: Posted) -> Response:
    """Announce a campaign; its review is on the calendar from then on."""
    packing = packings.get(session, forms.whole(posted.get("packing", ""), where="packing") or 0)
    reviews.plan(session, packing, plan_of(posted), by=planner.user, at=now)
    return RedirectResponse("/calendar", status_code=303)


@router.post("/planned-campaigns/{campaign_id}/call-off", dependencies=[OurForm])
def call_off(session: WriteSession, planner: Planner, now: Now, campaign_id: int, posted: Posted) -> Response:
    """Call a planned campaign off, with a reason."""
    reviews.call_off(session, campaign_id, reason=posted.get("reason", ""), by=planner.user, at=now)
    return RedirectResponse("/calendar", status_code=303)


def plan_of(posted: Mapping[str, str]) -> Plan:
    """Read what is planned from a form.

    Raises
    ------
    Invalid
        If a number or the day can't be read.
    """
    cycles = forms.whole(posted.get("cycles", ""), where="cycles")
    if cycles is None:
        raise Invalid("The number of cycles is missing.", where="cycles", mend="Say how many are planned.")
    return Plan(
        product=posted.get("product", "").strip(),
        cycles=cycles,
        starts_on=_day(posted.get("starts_on", "")),
        pool_volume_l=forms.number(posted.get("pool_volume_l", ""), where="pool_volume_l"),
        pool_tank_l=forms.number(posted.get("pool_tank_l", ""), where="pool_tank_l"),
    )


def _day(text: str) -> date:
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        day = date.min
    if day.year not in forms.YEARS:
        raise Invalid("The day of the start is missing.", where="starts_on", mend="Write it like 2031-03-12.")
    return day
