"""Replies from what is stored."""

from __future__ import annotations

from datetime import datetime

from beadline.boundary.deps import Session
from beadline.features.alerts import queries
from beadline.features.alerts import service as alerts
from beadline.features.alerts.api.models import AlertLine, Cause, Event, Picture, Shift, WholeAlert
from beadline.store.tables import Alert


def line(alert: Alert, at: datetime) -> AlertLine:
    """Shape an alert of a list."""
    status = alerts.standing(alert, at)
    return AlertLine(
        id=alert.id,
        column=alert.packing.column.asset_tag,
        packing=alert.packing.number,
        level=alert.level,
        status=status,
        headline=alert.headline,
        since_cycle=alert.since_cycle,
        latest_cycle=alert.latest_cycle.number,
        raised_at=alert.raised_at,
        shelved_until=alert.shelved_until if status == "shelved" else None,
        assigned_to=alert.assigned_to.name if alert.assigned_to else None,
        returned=alert.returned,
        address=f"/alerts/{alert.id}",
    )


def whole(session: Session, alert: Alert, at: datetime) -> WholeAlert:
    """Shape an alert with all that is known of it."""
    return WholeAlert(
        **dict(line(alert, at)),
        sentence=alert.sentence,
        since_low=alert.since_low,
        since_high=alert.since_high,
        score=alert.score,
        evidence=[Shift(**one) for one in alert.evidence],
        causes=[Cause.model_validate(one) for one in alert.causes],
        events=[Event(at=e.at, did=e.did, who=e.user.full_name, comment=e.comment) for e in alert.events],
        pictures=[
            Picture(
                id=one.id,
                filename=one.trace.filename,
                sha256=one.trace.sha256,
                added_at=one.added_at,
                address=f"/api/v1/alerts/{alert.id}/pictures/{one.id}",
            )
            for one in queries.pictures(session, alert.id)
        ],
    )
