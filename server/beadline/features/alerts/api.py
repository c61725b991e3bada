"""Alerts, for programs: read them, and say that somebody has seen one."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from fastapi import APIRouter, Depends, Query
from pydantic import BaseModel, Field

from beadline.boundary.deps import Now, Person, ReadSession, Viewer, WriteSession, allowed
from beadline.features.alerts import service as alerts
from beadline.store.tables import Alert

router = APIRouter(prefix="/api/v1/alerts", tags=["alerts"])
Handler = Annotated[Person, Depends(allowed("acknowledge"))]
PER_PAGE = 50
Which = Literal["open", "closed", "all"]


class AlertLine(BaseModel):
    """An alert, in short; `since` is the cycle at which the bed began to change."""

    id: int
    column: str
    packing: int
    level: str
    status: str
    headline: str
    since_cycle: int
    latest_cycle: int
    raised_at: datetime
    shelved_until: datetime | None
    returned: bool
    address: str


class Shift(BaseModel):
    """A metric that moved since the change began, in baseline standard deviations."""

    key: str
    label: str
    size: float


class Cause(BaseModel):
    """A candidate cause, its match from 0 to 1, and the check that tells it from the others."""

    code: str
    name: str
    match: float
    check: str
    cure: str
    source: str


class Event(BaseModel):
    """What somebody did with an alert."""

    at: datetime
    did: str
    who: str
    comment: str


class WholeAlert(AlertLine):
    """An alert with its evidence, candidate causes and history."""

    sentence: str
    since_low: int
    since_high: int
    score: float
    evidence: list[Shift]
    causes: list[Cause]
    events: list[Event]


class Comment(BaseModel):
    """What was seen or will be done."""

    comment: str = Field(description="Needed; it stays in the record.")


@router.get("")
def list_alerts(
    session: ReadSession,
    viewer: Viewer,
    now: Now,
    status: Which = "open",
    page: Annotated[int, Query(ge=1, le=10**6)] = 1,
) -> list[AlertLine]:
    """Return 50 alerts a page: action level first, then the newest."""
    found = alerts.listed(session, which=status, page=page, per_page=PER_PAGE)
    return [_line(alert, now) for alert in found]


@router.get("/{alert_id}")
def one_alert(session: ReadSession, viewer: Viewer, now: Now, alert_id: int) -> WholeAlert:
    """Return an alert with its evidence, candidate causes and history."""
    return _whole(alerts.get(session, alert_id), now)


@router.post("/{alert_id}/acknowledge")
def acknowledge(session: WriteSession, handler: Handler, now: Now, alert_id: int, said: Comment) -> AlertLine:
    """Say that somebody has seen an alert; it stays open."""
    alert = alerts.get(session, alert_id)
    alerts.acknowledge(session, alert, comment=said.comment, by=handler.user, at=now)
    return _line(alert, now)


def _line(alert: Alert, at: datetime) -> AlertLine:
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
        returned=alert.returned,
        address=f"/alerts/{alert.id}",
    )


def _whole(alert: Alert, at: datetime) -> WholeAlert:
    return WholeAlert(
        **dict(_line(alert, at)),
        sentence=alert.sentence,
        since_low=alert.since_low,
        since_high=alert.since_high,
        score=alert.score,
        evidence=[Shift(**one) for one in alert.evidence],
        causes=[Cause.model_validate(one) for one in alert.causes],
        events=[Event(at=e.at, did=e.did, who=e.user.full_name, comment=e.comment) for e in alert.events],
    )
