"""Who is told of alerts, for programs."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import (
    Now,
    Person,
    ReadSession,
    Session,
    SiteSettings,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.notices import service as notices
from beadline.features.notices.schemas import RouteFacts, RouteKind, masked
from beadline.store.tables import NoticeRoute

router = APIRouter(prefix="/api/v1/notice-routes", tags=["notices"])
Keeper = Annotated[Person, Depends(allowed("change notices"))]
Minute = Annotated[int, Field(ge=0, lt=24 * 60)]
NEWEST = 20


class Facts(BaseModel):
    """A route; minutes count from midnight in the site's zone."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(max_length=80)
    kind: RouteKind
    area: str = Field("", max_length=60, description="Of the columns it hears of; empty for every area.")
    column_id: int | None = Field(None, description="The column it hears of; null for every one.")
    least_level: Literal["alert", "action"] = "alert"
    digest_minute: Minute | None = Field(
        None, description="When alerts at alert level come in one message a day; null for at once."
    )
    quiet_from_minute: Minute | None = None
    quiet_until_minute: Minute | None = None
    action_in_quiet: bool = True
    escalate_after_minutes: int | None = Field(None, ge=1)
    escalate_to_id: int | None = None


class NewRoute(Facts):
    """A route to be added."""

    target: str = Field(max_length=500, description="Address of e-mail, of the webhook or of the chat.")


class ChangedRoute(Facts):
    """A route as it shall be."""

    target: str = Field("", max_length=500, description="Empty keeps the one that is stored.")
    new_secret: bool = Field(False, description="Make the webhook a new secret, told once.")


class KnownRoute(Facts):
    """A recorded route; what may hold a secret in its address is masked."""

    id: int
    target: str
    enabled: bool


class WithSecret(BaseModel):
    """A route and the new secret of its webhook, told once; empty where there is none."""

    route: KnownRoute
    secret: str


class DeliveryLine(BaseModel):
    """How far one notice has come."""

    event: str
    state: str
    attempts: int
    created_at: datetime
    sent_at: datetime | None
    last_error: str
    alert_id: int | None


class Switch(BaseModel):
    """Whether the route is told of alerts."""

    on: bool


@router.get("")
def list_routes(session: ReadSession, viewer: Viewer) -> list[KnownRoute]:
    """List who is told of alerts, by name."""
    return [_told(route) for route in notices.every(session)]


@router.post("", status_code=201)
def add(session: WriteSession, keeper: Keeper, settings: SiteSettings, now: Now, new: NewRoute) -> WithSecret:
    """Add a route."""
    facts = RouteFacts(**new.model_dump())
    made, secret = notices.add(session, facts, zone=settings.site_timezone, by=keeper.user, at=now)
    return WithSecret(route=_told(made), secret=secret)


@router.post("/{route_id}")
def change(
    session: WriteSession, keeper: Keeper, settings: SiteSettings, now: Now, route_id: int, said: ChangedRoute
) -> WithSecret:
    """Change a route."""
    route = notices.get(session, route_id)
    secret = notices.change(
        session,
        route,
        RouteFacts(**said.model_dump(exclude={"new_secret"})),
        zone=settings.site_timezone,
        new_secret=said.new_secret,
        by=keeper.user,
        at=now,
    )
    return WithSecret(route=_told(route), secret=secret)


@router.post("/{route_id}/switch")
def switch(session: WriteSession, keeper: Keeper, now: Now, route_id: int, said: Switch) -> KnownRoute:
    """Switch a route on or off."""
    route = notices.get(session, route_id)
    notices.switch(session, route, on=said.on, by=keeper.user, at=now)
    return _told(route)


@router.post("/{route_id}/test", status_code=202)
def test(session: WriteSession, keeper: Keeper, now: Now, route_id: int) -> KnownRoute:
    """Send a test for real; the deliveries tell what came of it."""
    route = notices.get(session, route_id)
    notices.ask_for_test(session, route, at=now)
    return _told(route)


@router.get("/{route_id}/deliveries")
def deliveries(session: ReadSession, viewer: Viewer, route_id: int) -> list[DeliveryLine]:
    """List a route's newest notices, and how far each has come."""
    return _latest(session, notices.get(session, route_id))


def _latest(session: Session, route: NoticeRoute) -> list[DeliveryLine]:
    names = DeliveryLine.model_fields
    found = notices.latest_of(session, route, limit=NEWEST)
    return [DeliveryLine(**{name: getattr(one, name) for name in names}) for one in found]


def _told(route: NoticeRoute) -> KnownRoute:
    plain = {name: getattr(route, name) for name in KnownRoute.model_fields}
    return KnownRoute(**plain | {"target": masked(route.kind, route.target)})
