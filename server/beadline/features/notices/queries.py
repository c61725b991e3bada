"""Reading routes and the outbox."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import ColumnElement, and_, exists, func, or_, select
from sqlalchemy.orm import Session, aliased, joinedload

from beadline.store.tables import Alert, AlertEvent, Notice, NoticeRoute, Packing


def routes(session: Session) -> Sequence[NoticeRoute]:
    """Return all routes by name, with column and where they escalate to."""
    query = select(NoticeRoute).options(joinedload(NoticeRoute.column), joinedload(NoticeRoute.escalate_to))
    return session.scalars(query.order_by(NoticeRoute.name)).all()


def route_by_id(session: Session, route_id: int) -> NoticeRoute | None:
    """Return a route with its column and where it escalates to."""
    query = select(NoticeRoute).options(joinedload(NoticeRoute.column), joinedload(NoticeRoute.escalate_to))
    return session.scalars(query.where(NoticeRoute.id == route_id)).first()


def route_named(session: Session, name: str) -> NoticeRoute | None:
    """Return the route of this name."""
    return session.scalars(select(NoticeRoute).where(NoticeRoute.name == name)).first()


def escalating_to(session: Session, route_id: int) -> Sequence[NoticeRoute]:
    """Return the routes in use that escalate to this one."""
    query = select(NoticeRoute).where(NoticeRoute.escalate_to_id == route_id, NoticeRoute.enabled)
    return session.scalars(query.order_by(NoticeRoute.name)).all()


def routes_for(session: Session, *, area: str, column_id: int) -> Sequence[NoticeRoute]:
    """Return the routes in use that want to hear of a column."""
    query = select(NoticeRoute).where(
        NoticeRoute.enabled,
        NoticeRoute.area.in_(("", area)),
        or_(NoticeRoute.column_id.is_(None), NoticeRoute.column_id == column_id),
    )
    return session.scalars(query.order_by(NoticeRoute.id)).all()


def told_at(session: Session, packing_id: int, at: datetime) -> Sequence[tuple[Alert, str]]:
    """Return the alerts of a bed that were raised or worsened at this moment, with what happened first."""
    query = select(Alert, AlertEvent.did).join(AlertEvent, AlertEvent.alert_id == Alert.id)
    query = query.where(
        Alert.packing_id == packing_id, AlertEvent.at == at, AlertEvent.did.in_(("raised", "worsened"))
    )
    first: dict[int, tuple[Alert, str]] = {}
    for alert, did in session.execute(query.order_by(AlertEvent.id)):
        first.setdefault(alert.id, (alert, did))
    return list(first.values())


def is_there(session: Session, *, alert_id: int, event: str, route_id: int, level: str) -> bool:
    """Tell whether a route is told of this already."""
    query = exists().where(
        Notice.alert_id == alert_id,
        Notice.event == event,
        Notice.route_id == route_id,
        Notice.level == level,
    )
    return bool(session.scalar(select(query)))


def _is_due(at: datetime) -> ColumnElement[bool]:
    return and_(Notice.state.in_(("waiting", "sending")), Notice.next_attempt_at <= at)


def routes_with_due(session: Session, at: datetime) -> Sequence[int]:
    """Return the routes that have a notice to be tried now, the one that waits longest first."""
    query = select(Notice.route_id).where(_is_due(at)).group_by(Notice.route_id)
    return session.scalars(query.order_by(func.min(Notice.next_attempt_at))).all()


def lock_due(session: Session, route_id: int, at: datetime, *, limit: int) -> Sequence[Notice]:
    """Take what a route is to be told by now, oldest first, passing over what another worker holds."""
    waiting = and_(Notice.state == "waiting", Notice.due_at <= at)
    query = select(Notice).where(Notice.route_id == route_id, or_(waiting, _is_due(at)))
    return session.scalars(query.order_by(Notice.id).limit(limit).with_for_update(skip_locked=True)).all()


def unsent(session: Session, route_id: int) -> Sequence[Notice]:
    """Return what a route has not been told yet."""
    query = select(Notice).where(Notice.route_id == route_id, Notice.state.in_(("waiting", "sending")))
    return session.scalars(query.with_for_update()).all()


def claimed(session: Session, claim: str) -> Sequence[Notice]:
    """Return what a worker holds under this claim, with routes, alerts and their beds."""
    packing = joinedload(Notice.alert).joinedload(Alert.packing)
    query = select(Notice).options(
        joinedload(Notice.route),
        packing.joinedload(Packing.column),
        packing.joinedload(Packing.step_plan),
        joinedload(Notice.alert).joinedload(Alert.latest_cycle),
        joinedload(Notice.alert).joinedload(Alert.raised_by_cycle),
    )
    query = query.where(Notice.claim == claim, Notice.state == "sending")
    return session.scalars(query.order_by(Notice.id)).all()


def notice_by_id(session: Session, notice_id: int) -> Notice | None:
    """Return a notice with its route."""
    query = select(Notice).options(joinedload(Notice.route)).where(Notice.id == notice_id)
    return session.scalars(query).first()


def of_alert(session: Session, alert_id: int) -> Sequence[Notice]:
    """Return what was said of an alert, and to whom."""
    query = select(Notice).options(joinedload(Notice.route)).where(Notice.alert_id == alert_id)
    return session.scalars(query.order_by(Notice.id)).all()


def newest_of_route(session: Session, route_id: int, *, limit: int) -> Sequence[Notice]:
    """Return a route's newest notices, tests among them."""
    packing = joinedload(Notice.alert).joinedload(Alert.packing).joinedload(Packing.column)
    query = select(Notice).options(packing).where(Notice.route_id == route_id)
    return session.scalars(query.order_by(Notice.id.desc()).limit(limit)).all()


def count_unsent(session: Session) -> dict[tuple[int, str], int]:
    """Return how many notices of each route are in each state but sent."""
    query = select(Notice.route_id, Notice.state, func.count()).where(Notice.state != "sent")
    query = query.group_by(Notice.route_id, Notice.state)
    return {(route_id, state): count for route_id, state, count in session.execute(query)}


def unanswered(session: Session, *, lock: bool) -> Sequence[tuple[Notice, Alert, NoticeRoute]]:
    """Return notices of alerts that nobody has acknowledged, whose route escalates and has not yet."""
    done = aliased(Notice)
    is_done = exists().where(
        done.alert_id == Notice.alert_id,
        done.event == "escalated",
        done.route_id == NoticeRoute.escalate_to_id,
        done.level == Notice.level,
    )
    query = (
        select(Notice, Alert, NoticeRoute)
        .join(Alert, Alert.id == Notice.alert_id)
        .join(NoticeRoute, NoticeRoute.id == Notice.route_id)
        .where(Alert.status.in_(("raised", "shelved")), Notice.level == Alert.level)
        .where(NoticeRoute.escalate_to_id.is_not(None), NoticeRoute.enabled, ~is_done)
        .order_by(Notice.id)
    )
    if lock:
        query = query.with_for_update(of=Alert, skip_locked=True)
    return [(notice, alert, route) for notice, alert, route in session.execute(query)]
