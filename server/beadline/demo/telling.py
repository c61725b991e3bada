"""Who is told in the demo plant: routes to addresses that nobody has (RFC 2606 keeps `.example` for that)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.notices import service as notices
from beadline.features.notices.schemas import RouteFacts
from beadline.store.tables import User

ZONE = "UTC"
MANAGER = RouteFacts(
    name="Purification manager",
    kind="email",
    target="manager@mudflat.example",
    least_level="action",
    action_in_quiet=True,
)
SHIFT = RouteFacts(
    name="Shift lead, purification",
    kind="email",
    target="shift-lead@mudflat.example",
    digest_minute=7 * 60,
    quiet_from_minute=22 * 60,
    quiet_until_minute=6 * 60,
    escalate_after_minutes=60,
)
BUS = RouteFacts(name="Plant bus", kind="webhook", target="https://bus.mudflat.example/beds")


def make(session: Session, *, by: User, at: datetime) -> None:
    """Add the shift lead, who has an hour before the manager is told, and a webhook that is switched off."""
    manager, _ = notices.add(session, MANAGER, zone=ZONE, by=by, at=at)
    notices.add(session, replace(SHIFT, escalate_to_id=manager.id), zone=ZONE, by=by, at=at)
    bus, _ = notices.add(session, BUS, zone=ZONE, by=by, at=at)
    notices.switch(session, bus, on=False, by=by, at=at)
