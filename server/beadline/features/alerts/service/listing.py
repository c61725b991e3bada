"""Which alerts there are, and how each stands now."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import queries
from beadline.features.alerts.schemas import STATUSES
from beadline.kit.errors import NotFound
from beadline.store.tables import Alert, Packing


def get(session: Session, alert_id: int) -> Alert:
    """Return an alert.

    Raises
    ------
    NotFound
        If there is none.
    """
    alert = queries.by_id(session, alert_id)
    if alert is None:
        raise NotFound(f"There is no alert {alert_id}.", where="alert", mend="Open it from the Alerts page.")
    return alert


def of_bed(session: Session, packing: Packing) -> Sequence[Alert]:
    """Return a bed's alerts, oldest first, with the cycles that raised them and the newest of each."""
    return queries.with_cycles(session, packing.id)


def standing(alert: Alert, at: datetime) -> str:
    """Return an alert's status: one whose time on the shelf is over waits again."""
    over = alert.status == "shelved" and alert.shelved_until is not None and alert.shelved_until <= at
    return "raised" if over else alert.status


def newest_open(session: Session, packing_id: int) -> Alert | None:
    """Return the newest alert of a bed that is not closed."""
    return queries.open_of_packings(session, [packing_id]).get(packing_id)


def waiting(session: Session, at: datetime) -> int:
    """Return how many alerts wait to be acknowledged, those back from the shelf among them."""
    return queries.count_waiting(session, at)


def counts(session: Session) -> dict[tuple[str, str], int]:
    """Return how many alerts there are of each status and level."""
    return queries.count_by_status(session)


def listed(session: Session, *, which: str, page: int, per_page: int) -> Sequence[Alert]:
    """Return a page of "open", "closed" or "all" alerts: action level first, then the newest."""
    return queries.listed(session, statuses=STATUSES[which], limit=per_page, offset=(page - 1) * per_page)


def told_at(session: Session, packing: Packing, at: datetime) -> Alert | None:
    """Return the alert that a run raised or worsened when it was logged at this moment."""
    return queries.told_at(session, packing.id, at)
