"""Reading alerts."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload, selectinload

from beadline.store.tables import Alert, AlertEvent, AlertPicture, Packing, ResinLot


def count_waiting(session: Session, at: datetime) -> int:
    """Return how many alerts nobody has acknowledged, or whose time on the shelf is over."""
    over = (Alert.status == "shelved") & (Alert.shelved_until <= at)
    query = select(func.count()).select_from(Alert).where((Alert.status == "raised") | over)
    return session.scalars(query).one()


def open_of_packings(session: Session, packing_ids: Sequence[int]) -> dict[int, Alert]:
    """Return the newest alert of each bed that is not closed."""
    query = (
        select(Alert).where(Alert.packing_id.in_(packing_ids), Alert.status != "closed").order_by(Alert.id)
    )
    return {alert.packing_id: alert for alert in session.scalars(query)}


def told_at(session: Session, packing_id: int, at: datetime) -> Alert | None:
    """Return the alert of a bed that was raised or worsened at this moment."""
    query = select(Alert).join(AlertEvent, AlertEvent.alert_id == Alert.id).where(AlertEvent.at == at)
    query = query.where(Alert.packing_id == packing_id, AlertEvent.did.in_(("raised", "worsened")))
    return session.scalars(query.order_by(Alert.id.desc()).limit(1)).first()


def of_packing(session: Session, packing_id: int) -> Sequence[Alert]:
    """Return the alerts of a bed, newest first."""
    return session.scalars(
        select(Alert).where(Alert.packing_id == packing_id).order_by(Alert.id.desc())
    ).all()


def with_cycles(session: Session, packing_id: int) -> Sequence[Alert]:
    """Return the alerts of a bed, oldest first, with the cycles that raised them and the newest of each."""
    query = select(Alert).options(joinedload(Alert.raised_by_cycle), joinedload(Alert.latest_cycle))
    query = query.where(Alert.packing_id == packing_id).order_by(Alert.id)
    return session.scalars(query.execution_options(populate_existing=True)).all()


def listed(session: Session, *, statuses: Sequence[str], limit: int, offset: int) -> Sequence[Alert]:
    """Return a page of the alerts of these statuses: action level first, then the newest."""
    column = joinedload(Alert.packing).joinedload(Packing.column)
    history = selectinload(Alert.events).joinedload(AlertEvent.user)
    query = select(Alert).options(
        column,
        joinedload(Alert.raised_by_cycle),
        joinedload(Alert.latest_cycle),
        joinedload(Alert.assigned_to),
        history,
    )
    query = query.where(Alert.status.in_(statuses)).order_by(Alert.level != "action", Alert.raised_at.desc())
    return session.scalars(query.limit(limit).offset(offset)).all()


def count_by_status(session: Session) -> dict[tuple[str, str], int]:
    """Return how many alerts there are of each status and level."""
    query = select(Alert.status, Alert.level, func.count()).group_by(Alert.status, Alert.level)
    return {(status, level): count for status, level, count in session.execute(query)}


def pictures(session: Session, alert_id: int) -> Sequence[AlertPicture]:
    """Return an alert's pictures without their bytes, oldest first."""
    query = select(AlertPicture).where(AlertPicture.alert_id == alert_id).order_by(AlertPicture.id)
    return session.scalars(
        query.options(joinedload(AlertPicture.trace), joinedload(AlertPicture.added_by))
    ).all()


def by_id(session: Session, alert_id: int) -> Alert | None:
    """Return an alert with its bed, its cycles and its history."""
    packing = joinedload(Alert.packing)
    query = select(Alert).options(
        packing.joinedload(Packing.column),
        packing.joinedload(Packing.lot).joinedload(ResinLot.resin),
        packing.joinedload(Packing.step_plan),
        joinedload(Alert.raised_by_cycle),
        joinedload(Alert.latest_cycle),
        joinedload(Alert.assigned_to),
        selectinload(Alert.events).joinedload(AlertEvent.user),
    )
    return session.scalars(query.where(Alert.id == alert_id)).first()
