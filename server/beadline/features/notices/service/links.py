"""Links in messages that lead to acknowledging: signed, so that none can be made up; they still ask who."""

from __future__ import annotations

import hashlib
import hmac
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import service as alerts
from beadline.features.notices import queries
from beadline.kit.errors import NotFound
from beadline.store.tables import Alert, Notice, NoticeRoute, User


def link(route: NoticeRoute, notice: Notice, *, address: str) -> str:
    """Return the address at which who signs in acknowledges what a notice tells of."""
    return f"{address}/notices/{notice.id}/{signature(route, notice)}"


def signature(route: NoticeRoute, notice: Notice) -> str:
    """Return the HMAC-SHA256, in hex, with the route's key over the notice and its alert."""
    told = f"{notice.id}.{notice.alert_id}".encode()
    return hmac.new(route.link_key.encode(), told, hashlib.sha256).hexdigest()


def followed(session: Session, notice_id: int, given: str) -> tuple[Notice, Alert]:
    """Return the notice whose message held this link, and its alert.

    Raises
    ------
    NotFound
        If no message of this server held it.
    """
    notice = queries.notice_by_id(session, notice_id)
    if (
        notice is None
        or notice.alert_id is None
        or not hmac.compare_digest(signature(notice.route, notice).encode(), given.encode())
    ):
        raise NotFound("No message of this server holds this link.", mend="Open the alert from Alerts.")
    return notice, alerts.get(session, notice.alert_id)


def acknowledge(
    session: Session, notice: Notice, alert: Alert, *, comment: str, by: User, at: datetime
) -> None:
    """Acknowledge an alert from a message, and say from which.

    Raises
    ------
    Invalid
        If there is no comment.
    Conflict
        If it is not waiting to be acknowledged.
    """
    said = f"{comment.strip()} (from the message to {notice.route.name})" if comment.strip() else ""
    alerts.acknowledge(session, alert, comment=said, by=by, at=at)
