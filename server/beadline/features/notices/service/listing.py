"""Routes and deliveries in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sqlalchemy.orm import Session

from beadline.features.notices import queries
from beadline.features.notices.schemas import (
    HEARS_WORDS,
    KIND_WORDS,
    Delivery,
    RouteLine,
    clock_of,
    masked,
)
from beadline.store.tables import Notice, NoticeRoute


def lines(session: Session) -> list[RouteLine]:
    """Return all routes in words."""
    unsent = queries.count_unsent(session)
    return [_line(route, unsent) for route in queries.routes(session)]


def _line(route: NoticeRoute, unsent: Mapping[tuple[int, str], int]) -> RouteLine:
    return RouteLine(
        id=route.id,
        name=route.name,
        way=KIND_WORDS[route.kind],
        to=masked(route.kind, route.target),
        hears=_hears(route),
        when=_when(route),
        escalates=f"after {route.escalate_after_minutes} min to {route.escalate_to.name}"
        if route.escalate_to
        else "",
        enabled=route.enabled,
        waiting=unsent.get((route.id, "waiting"), 0) + unsent.get((route.id, "sending"), 0),
        failed=unsent.get((route.id, "failed"), 0),
    )


def _hears(route: NoticeRoute) -> str:
    if route.column is not None:
        where = route.column.name
    else:
        where = f"area {route.area}" if route.area else "every column"
    return f"{where}, {HEARS_WORDS[route.least_level]}"


def _when(route: NoticeRoute) -> str:
    said = "at once"
    if route.digest_minute is not None and route.least_level == "alert":
        said = f"action limit at once, alert limit daily at {clock_of(route.digest_minute)}"
    if route.quiet_from_minute is None:
        return said
    hours = f"{clock_of(route.quiet_from_minute)} to {clock_of(route.quiet_until_minute)}"
    broken = ", but for the action limit" if route.action_in_quiet else ""
    return f"{said}; quiet {hours}{broken}"


def deliveries_of(session: Session, alert_id: int) -> list[Delivery]:
    """Return who was told of an alert, and how far each message has come."""
    return [_delivery(one, one.route) for one in queries.of_alert(session, alert_id)]


def latest_of(session: Session, route: NoticeRoute, *, limit: int) -> Sequence[Delivery]:
    """Return a route's newest notices, tests among them, each with the bed that it is about."""
    return [
        _delivery(one, route, about=_bed(one))
        for one in queries.newest_of_route(session, route.id, limit=limit)
    ]


def _bed(notice: Notice) -> str:
    if notice.alert is None:
        return ""
    packing = notice.alert.packing
    return f"{packing.column.name}, packing {packing.number}"


def _delivery(notice: Notice, route: NoticeRoute, *, about: str = "") -> Delivery:
    return Delivery(
        event=notice.event,
        way=KIND_WORDS[route.kind],
        to=masked(route.kind, route.target),
        route=route.name,
        state=notice.state,
        attempts=notice.attempts,
        created_at=notice.created_at,
        next_attempt_at=notice.next_attempt_at,
        sent_at=notice.sent_at,
        last_error=notice.last_error,
        about=about,
        alert_id=notice.alert_id,
    )
