"""The pages Alerts and Alert."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any
from urllib.parse import urlencode

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
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.accounts import queries as accounts
from beadline.features.alerts import queries as alert_queries
from beadline.features.alerts import service as alerts
from beadline.features.alerts.schemas import OPEN, STATUSES
from beadline.kit import clock, forms, looks
from beadline.kit.errors import Invalid, Refusal
from beadline.science.causes import FEATURE_WORDS
from beadline.store.tables import Alert, User

router = APIRouter(include_in_schema=False)
Handler = Annotated[Person, Depends(allowed("acknowledge"))]
Picture = Annotated[UploadFile, File()]
PER_PAGE = 50
STEPS = {
    "raised": ("acknowledge", "comment", "shelve"),
    "acknowledged": ("close", "comment", "shelve"),
    "shelved": ("close", "comment"),
    "closed": ("comment",),
}


def count_waiting(request: Request) -> None:
    """Count the alerts that wait, for the head of every page."""
    if getattr(request.state, "person", None) and not request.url.path.startswith(("/static/", "/api/")):
        with request.app.state.new_reading_session() as session:
            request.state.open_alerts = alerts.waiting(session, clock.now())


@router.get("/alerts")
def alerts_page(
    request: Request, session: ReadSession, viewer: Viewer, now: Now, status: str = "open", page: int = 1
) -> Response:
    """Show what is open, who has it, what was seen."""
    wanted = status if status in STATUSES else "open"
    page = max(1, page)
    found = alerts.listed(session, which=wanted, page=page, per_page=PER_PAGE)
    counts = alerts.counts(session)
    many = sum(count for (each, _), count in counts.items() if each in STATUSES[wanted])
    context = {
        "lede": _lede(counts),
        "status": wanted,
        "page": page,
        "last_page": max(1, math.ceil(many / PER_PAGE)),
        "alerts": [_common(alert, now) for alert in found],
    }
    return templates.render(request, "alerts/alerts.html", context)


@router.get("/alerts/{alert_id}")
def alert_page(request: Request, session: ReadSession, viewer: Viewer, now: Now, alert_id: int) -> Response:
    """Show one alert: evidence, candidate causes, what was done."""
    return _page(request, session, alerts.get(session, alert_id), now, {}, None)


@router.post("/alerts/{alert_id}", dependencies=[OurForm])
def handle(
    request: Request, session: WriteSession, handler: Handler, now: Now, alert_id: int, posted: Posted
) -> Response:
    """Acknowledge, comment, shelve or close an alert."""
    alert = alerts.get(session, alert_id)
    try:
        with session.begin_nested():
            _take_step(session, alert, posted, by=handler.user, at=now)
    except Refusal as refusal:
        return _page(request, session, alert, now, posted, refusal)
    return RedirectResponse(f"/alerts/{alert_id}", status_code=303)


@router.post("/alerts/{alert_id}/holder", dependencies=[OurForm])
def assign(
    request: Request, session: WriteSession, handler: Handler, now: Now, alert_id: int, posted: Posted
) -> Response:
    """Give an alert to somebody, or to nobody."""
    alert = alerts.get(session, alert_id)
    try:
        with session.begin_nested():
            number = forms.whole(posted.get("assigned_to", ""), where="assigned_to")
            to = None if number is None else accounts.user_by_id(session, number)
            if number is not None and to is None:
                raise Invalid("There is no such person.", where="assigned_to", mend="Choose one of the list.")
            alerts.assign(session, alert, to, by=handler.user, at=now)
    except Refusal as refusal:
        return _page(request, session, alert, now, posted, refusal)
    return RedirectResponse(f"/alerts/{alert_id}", status_code=303)


@router.post("/alerts/{alert_id}/pictures", dependencies=[OurForm])
def add_picture(
    request: Request, session: WriteSession, handler: Handler, now: Now, alert_id: int, picture: Picture
) -> Response:
    """Add a picture as evidence."""
    alert = alerts.get(session, alert_id)
    name = picture.filename or "picture"
    try:
        with session.begin_nested():
            alerts.add_picture(session, alert, picture.file.read(), filename=name, by=handler.user, at=now)
    except Refusal as refusal:
        return _page(request, session, alert, now, {}, refusal)
    return RedirectResponse(f"/alerts/{alert_id}", status_code=303)


@router.get("/alerts/{alert_id}/pictures/{picture_id}")
def picture(session: ReadSession, viewer: Viewer, alert_id: int, picture_id: int) -> Response:
    """Send a picture as it came, after checking its hash."""
    content, media_type = alerts.picture_content(session, alert_id, picture_id)
    return Response(content, media_type=media_type, headers={"Cache-Control": "private, max-age=3600"})


def _take_step(session: Session, alert: Alert, posted: Mapping[str, str], *, by: User, at: datetime) -> None:
    step, comment = posted.get("step", ""), posted.get("comment", "")
    if step == "acknowledge":
        alerts.acknowledge(session, alert, comment=comment, by=by, at=at)
    elif step == "comment":
        alerts.remark(session, alert, comment=comment, by=by, at=at)
    elif step == "shelve":
        days = forms.whole(posted.get("shelve_days", ""), where="shelve_days")
        alerts.shelve(session, alert, days=days, comment=comment, by=by, at=at)
    elif step == "close":
        alerts.close(session, alert, comment=comment, by=by, at=at)
    else:
        raise Invalid(f"There is no step {step!r}.", where="step", mend="Use one of the page's buttons.")


def _page(
    request: Request,
    session: Session,
    alert: Alert,
    at: datetime,
    posted: Mapping[str, str],
    refusal: Refusal | None,
) -> Response:
    may = "acknowledge" in request.state.person.deeds
    curve = alerts.curve_of(session, alert)
    people = alerts.may_handle(session) if may else []
    context = {
        "alert": _common(alert, at)
        | _whole(alert)
        | {
            "evidence": alerts.evidence_of(session, alert),
            "done_near": alerts.done_near(session, alert),
        },
        "curve": {"cycle": curve.cycle} | curve.view.chart_data() if curve else None,
        "pictures": alert_queries.pictures(session, alert.id),
        "assignable": [("", "nobody"), *((user.id, user.full_name) for user in people)] if people else [],
        "largest_mb": alerts.LARGEST_MB,
        "deliveries": request.app.state.deliveries_of(session, alert.id),
        "steps": STEPS[alerts.standing(alert, at)] if may else (),
        "form": {"comment": posted.get("comment", ""), "shelve_days": posted.get("shelve_days", "7")},
        "refusal": refusal,
    }
    return templates.render(request, "alerts/alert.html", context, status=refusal.status if refusal else 200)


def _lede(counts: Mapping[tuple[str, str], int]) -> looks.Lede:
    is_open = sum(count for (status, _), count in counts.items() if status in OPEN)
    if not is_open:
        return looks.Lede("No alert is open.", "Beds that leave their limits appear here.", "ok")
    grave = sum(counts.get((status, "action"), 0) for status in OPEN)
    raised = sum(count for (status, _), count in counts.items() if status == "raised")
    lead = "1 alert is open." if is_open == 1 else f"{is_open} alerts are open."
    rest = f"{grave} past the action limit; {raised} not yet acknowledged."
    return looks.Lede(lead, rest, "act" if grave else "watch")


def _common(alert: Alert, at: datetime) -> dict[str, Any]:
    status = alerts.standing(alert, at)
    address = f"/columns/{alert.packing.column.asset_tag}"
    packing = {"packing": alert.packing_id}
    holder = next(
        (e.user.full_name for e in reversed(alert.events) if e.did in ("acknowledged", "shelved")), ""
    )
    return {
        "id": alert.id,
        "level": alert.level,
        "kind": "void" if status == "closed" else looks.KIND_OF_LEVEL[alert.level],
        "status": status,
        "bed_name": f"{alert.packing.column.name}, packing {alert.packing.number}",
        "bed_href": f"{address}?{urlencode(packing)}",
        "latest_href": f"{address}?{urlencode(packing | {'cycle': alert.latest_cycle.number})}",
        "headline": alert.headline,
        "since_cycle": alert.since_cycle,
        "latest_cycle": alert.latest_cycle.number,
        "assigned_to": alert.assigned_to.full_name if alert.assigned_to else "",
        "holder": holder if status in ("acknowledged", "shelved") else "",
        "shelved_until": alert.shelved_until if status == "shelved" else None,
        "raised_at": alert.raised_at,
    }


def _whole(alert: Alert) -> dict[str, Any]:
    return {
        "lede": looks.Lede(alert.headline, alert.sentence, looks.KIND_OF_LEVEL[alert.level]),
        "packing_id": alert.packing_id,
        "raised_by_cycle": alert.raised_by_cycle.number,
        "since_low": alert.since_low,
        "since_high": alert.since_high,
        "assigned_to_id": alert.assigned_to_id or "",
        "returned": alert.returned,
        "causes": [_in_words(cause) for cause in alert.causes],
        "events": [
            {"did": e.did, "who": e.user.full_name, "at": e.at, "comment": e.comment} for e in alert.events
        ],
    }


def _in_words(cause: dict[str, Any]) -> dict[str, Any]:
    """Name the features that speak for and against a cause as a reader knows them."""
    spoken = {
        side: [FEATURE_WORDS.get(name, name) for name in cause[side]] for side in ("because", "against")
    }
    return cause | spoken
