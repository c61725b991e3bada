"""What programs say and are told of alerts."""

from __future__ import annotations

from datetime import datetime

from pydantic import BaseModel, Field

from beadline.features.alerts.service.handling import LONGEST_SHELF_DAYS


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
    assigned_to: str | None = Field(description="Name by which that person signs in.")
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


class Picture(BaseModel):
    """A picture that was added as evidence; `address` gives the file as it came."""

    id: int
    filename: str
    sha256: str
    added_at: datetime
    address: str


class WholeAlert(AlertLine):
    """An alert with its evidence, candidate causes and history."""

    sentence: str
    since_low: int
    since_high: int
    score: float
    evidence: list[Shift]
    causes: list[Cause]
    events: list[Event]
    pictures: list[Picture]


class Comment(BaseModel):
    """What was seen or will be done."""

    comment: str = Field(description="Needed; it stays in the record.")


class Shelf(Comment):
    """Why an alert can wait, and for how many days."""

    days: int = Field(ge=1, le=LONGEST_SHELF_DAYS)


class Holder(BaseModel):
    """Whose task an alert is."""

    name: str | None = Field(description="Name by which that person signs in; null for nobody.")
