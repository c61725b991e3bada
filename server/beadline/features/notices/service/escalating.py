"""Escalation: when nobody acknowledges in time, the next one is told."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.notices import queries
from beadline.features.notices.service import outbox
from beadline.store.tables import Alert, Notice, NoticeRoute


def is_due(session: Session, at: datetime) -> bool:
    """Tell whether somebody has waited for an answer for too long."""
    return bool(_overdue(session, at, lock=False))


def escalate(session: Session, *, at: datetime) -> None:
    """Tell the next route of every alert that nobody acknowledged in time.

    Time counts from when the first route was due to be told, whether that message got through or not;
    an alert that was shelved counts from the end of its time on the shelf.
    """
    for alert, route in _overdue(session, at, lock=True):
        following = queries.route_by_id(session, route.escalate_to_id or 0)
        if following is not None and following.enabled:
            outbox.add(session, following, alert, event="escalated", at=at)


def _overdue(session: Session, at: datetime, *, lock: bool) -> Sequence[tuple[Alert, NoticeRoute]]:
    found = queries.unanswered(session, lock=lock)
    return [(alert, route) for notice, alert, route in found if _is_overdue(notice, alert, route, at)]


def _is_overdue(notice: Notice, alert: Alert, route: NoticeRoute, at: datetime) -> bool:
    if alerts.standing(alert, at) != "raised":
        return False
    began = max(notice.due_at, alert.shelved_until or notice.due_at)
    return began + timedelta(minutes=route.escalate_after_minutes or 0) <= at
