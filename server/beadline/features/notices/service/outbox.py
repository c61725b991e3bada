"""The outbox: rows are written with the alert, claimed by a worker, and settled with what came of them."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from beadline.features.notices import queries
from beadline.features.notices.schemas import due_at
from beadline.store.tables import Alert, Notice, NoticeRoute, Packing

LEVELS = ("alert", "action")
LEASE = timedelta(minutes=5)  # far more than a delivery may take; after it a worker is taken for dead
FIRST_PAUSE = timedelta(seconds=30)
LONGEST_PAUSE = timedelta(hours=1)
GIVE_UP_AFTER = timedelta(days=7)
MOST_AT_ONCE = 500


def tell(session: Session, packing: Packing, *, at: datetime) -> None:
    """Write to the outbox, in the caller's transaction, what this moment raised or worsened for a bed."""
    told = queries.told_at(session, packing.id, at)
    if not told:
        return
    routes = queries.routes_for(session, area=packing.column.area, column_id=packing.column_id)
    for alert, event in told:
        for route in routes:
            if LEVELS.index(alert.level) >= LEVELS.index(route.least_level):
                add(session, route, alert, event=event, at=at)


def add(session: Session, route: NoticeRoute, alert: Alert, *, event: str, at: datetime) -> None:
    """Put a notice into the outbox unless it is there."""
    if queries.is_there(session, alert_id=alert.id, event=event, route_id=route.id, level=alert.level):
        return
    due = due_at(route, event=event, level=alert.level, at=at)
    session.add(_waiting(route, alert_id=alert.id, event=event, level=alert.level, due=due, at=at))


def ask_for_test(session: Session, route: NoticeRoute, *, at: datetime) -> None:
    """Put a test message for a route into the outbox; it goes the way of every notice."""
    session.add(_waiting(route, alert_id=None, event="test", level="", due=at, at=at))


def _waiting(
    route: NoticeRoute, *, alert_id: int | None, event: str, level: str, due: datetime, at: datetime
) -> Notice:
    return Notice(
        alert_id=alert_id,
        event=event,
        route_id=route.id,
        level=level,
        due_at=due,
        next_attempt_at=due,
        created_at=at,
    )


def is_due(session: Session, at: datetime) -> bool:
    """Tell whether there is something to send now."""
    return bool(queries.routes_with_due(session, at))


def claim(session: Session, *, at: datetime) -> str:
    """Take all that one route is to be told by now; return the claim, or nothing if there is none.

    What is taken together is sent as one message: after an outage a route gets one, however much waited.
    A test goes alone. A claim holds for `LEASE`; after that another worker may take its notices.
    """
    for route_id in queries.routes_with_due(session, at):
        found = queries.lock_due(session, route_id, at, limit=MOST_AT_ONCE)
        tests = [one for one in found if one.event == "test"]
        batch = tests[:1] or found
        if batch:
            claimed = secrets.token_hex(16)
            for one in batch:
                one.state, one.claim, one.next_attempt_at = "sending", claimed, at + LEASE
                one.attempts += 1
            return claimed
    return ""


def held(session: Session, claim: str) -> Sequence[Notice]:
    """Return what is held under a claim, with routes, alerts and beds."""
    return queries.claimed(session, claim)


def settle(session: Session, claim: str, *, error: str, at: datetime) -> None:
    """Say what came of a claim: sent, or the error; then it is tried again after a pause that doubles.

    A claim that another worker has taken over settles nothing. A test is tried once.
    """
    for one in queries.claimed(session, claim):
        one.claim = ""
        if not error:
            one.state, one.sent_at, one.last_error = "sent", at, ""
            continue
        one.last_error = error[:500]
        if one.event == "test" or at - one.due_at >= GIVE_UP_AFTER:
            one.state = "failed"
        else:
            one.state, one.next_attempt_at = "waiting", at + pause(one.attempts)


def pause(attempts: int) -> timedelta:
    """Return how long to wait after so many attempts: doubling, up to an hour.

    Examples
    --------
    >>> [pause(n).total_seconds() for n in (1, 2, 7, 8, 60)]
    [30.0, 60.0, 1920.0, 3600.0, 3600.0]
    """
    doublings: int = min(attempts - 1, 20)
    return min(LONGEST_PAUSE, FIRST_PAUSE * (1 << doublings))
