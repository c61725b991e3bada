"""What happens to an alert: kept with the alert, and in the audit trail."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.records import service as records
from beadline.store.tables import Alert, AlertEvent, Packing, User


def title_of(packing: Packing) -> str:
    """Name a bed inside a sentence."""
    return f"{packing.column.name}, packing {packing.number},"


def note(session: Session, alert: Alert, did: str, *, by: User, at: datetime, comment: str = "") -> None:
    """Add a step to an alert's own history."""
    session.add(AlertEvent(alert_id=alert.id, at=at, user_id=by.id, did=did, comment=comment))


def say(
    session: Session,
    packing: Packing,
    alert: Alert,
    did: str,
    said: str,
    *,
    by: User,
    at: datetime,
    why: str = "",
    before: dict[str, Any] | None = None,
) -> None:
    """Add a step to the audit trail, with how the alert stands after it."""
    after: dict[str, Any] = {"level": alert.level, "status": alert.status, "packing_id": packing.id}
    records.write(
        session,
        by=by,
        at=at,
        did=did,
        thing="alert",
        thing_id=alert.id,
        said=said,
        why=why,
        before=before,
        after=after,
    )
