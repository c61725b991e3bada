"""Look at routes, add, change, test and switch them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from typing import Annotated

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
from beadline.features.notices import service as notices
from beadline.features.notices.pages import form
from beadline.features.notices.schemas import Delivery, masked
from beadline.kit.errors import Refusal
from beadline.store.tables import NoticeRoute

router = APIRouter()
Keeper = Annotated[Person, Depends(allowed("change notices"))]
NEWEST = 20
TESTED_WITHIN = timedelta(minutes=1)
LOOK_AGAIN_S = "2"


@router.get("/library/notices")
def notices_page(request: Request, session: ReadSession, viewer: Viewer, settings: SiteSettings) -> Response:
    """Show every route."""
    routes = notices.lines(session)
    context = {
        "routes": routes,
        "may_change": "change notices" in viewer.deeds,
        "lacks_mail": not settings.smtp_host and any(one.way == "E-mail" for one in routes),
    }
    return templates.render(request, "notices/notices.html", context)


@router.get("/library/notices/new")
def new(request: Request, session: ReadSession, keeper: Keeper) -> Response:
    """Show the form for a new route."""
    return _form_page(request, session, form.EMPTY, None)


@router.post("/library/notices", dependencies=[OurForm])
def add(
    request: Request,
    session: WriteSession,
    keeper: Keeper,
    now: Now,
    settings: SiteSettings,
    posted: Posted,
) -> Response:
    """Add a route, and show the secret of a webhook once."""
    try:
        with session.begin_nested():
            facts = form.facts_of(posted)
            made, secret = notices.add(session, facts, zone=settings.site_timezone, by=keeper.user, at=now)
    except Refusal as refusal:
        return _form_page(request, session, posted, refusal)
    if not secret:
        return RedirectResponse(f"/library/notices/{made.id}", status_code=303)
    return _page(request, session, notices.get(session, made.id), now, secret=secret)


@router.get("/library/notices/{route_id}")
def route_page(request: Request, session: ReadSession, viewer: Viewer, now: Now, route_id: int) -> Response:
    """Show one route with its newest notices."""
    return _page(request, session, notices.get(session, route_id), now)


@router.post("/library/notices/{route_id}", dependencies=[OurForm])
def change(
    request: Request,
    session: WriteSession,
    keeper: Keeper,
    now: Now,
    settings: SiteSettings,
    route_id: int,
    posted: Posted,
) -> Response:
    """Change a route."""
    route = notices.get(session, route_id)
    try:
        with session.begin_nested():
            secret = notices.change(
                session,
                route,
                form.facts_of(posted),
                zone=settings.site_timezone,
                new_secret=bool(posted.get("new_secret")),
                by=keeper.user,
                at=now,
            )
    except Refusal as refusal:
        return _page(request, session, notices.get(session, route_id), now, posted=posted, refusal=refusal)
    if not secret:
        return RedirectResponse(f"/library/notices/{route_id}", status_code=303)
    return _page(request, session, route, now, secret=secret)


@router.post("/library/notices/{route_id}/test", dependencies=[OurForm])
def test(session: WriteSession, keeper: Keeper, now: Now, route_id: int) -> Response:
    """Send a test for real; the route's page shows what came of it."""
    notices.ask_for_test(session, notices.get(session, route_id), at=now)
    return RedirectResponse(f"/library/notices/{route_id}", status_code=303)


@router.post("/library/notices/{route_id}/switch", dependencies=[OurForm])
def switch(
    request: Request, session: WriteSession, keeper: Keeper, now: Now, route_id: int, posted: Posted
) -> Response:
    """Switch a route on or off."""
    route = notices.get(session, route_id)
    try:
        with session.begin_nested():
            notices.switch(session, route, on=posted.get("on") == "yes", by=keeper.user, at=now)
    except Refusal as refusal:
        return _page(request, session, notices.get(session, route_id), now, refusal=refusal)
    return RedirectResponse(f"/library/notices/{route_id}", status_code=303)


def _form_page(
    request: Request, session: Session, posted: Mapping[str, str], refusal: Refusal | None
) -> Response:
    context = {
        "given": _given(posted),
        "choices": form.choices(session, None),
        "refusal": refusal,
    }
    return templates.render(request, "notices/new.html", context, status=refusal.status if refusal else 200)


def _page(
    request: Request,
    session: Session,
    route: NoticeRoute,
    at: datetime,
    *,
    posted: Mapping[str, str] | None = None,
    refusal: Refusal | None = None,
    secret: str = "",
) -> Response:
    latest = notices.latest_of(session, route, limit=NEWEST)
    context = {
        "route": next(one for one in notices.lines(session) if one.id == route.id),
        "kind": route.kind,
        "masked": masked(route.kind, route.target),
        "latest": latest,
        "test": next((one for one in latest[:1] if one.event == "test"), None),
        "given": _given(posted) if posted else form.typed(route),
        "choices": form.choices(session, route),
        "may_change": "change notices" in request.state.person.deeds,
        "refusal": refusal,
        "secret": secret,
    }
    answer = templates.render(
        request, "notices/route.html", context, status=refusal.status if refusal else 200
    )
    if request.method == "GET" and _is_being_tested(latest, at):
        answer.headers["Refresh"] = LOOK_AGAIN_S
    return answer


def _given(posted: Mapping[str, str]) -> dict[str, str]:
    """Return a form as it was typed; a box that was not ticked is not sent."""
    return {name: posted.get(name, "") for name in form.EMPTY}


def _is_being_tested(latest: Sequence[Delivery], at: datetime) -> bool:
    newest = latest[0] if latest else None
    is_open = newest is not None and newest.event == "test" and newest.state in ("waiting", "sending")
    return newest is not None and is_open and at - newest.created_at < TESTED_WITHIN
