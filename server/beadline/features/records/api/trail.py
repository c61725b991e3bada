"""Read the audit trail, and check its chain."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from beadline.boundary.deps import ReadSession, SiteSettings, Viewer
from beadline.features.records import service as records
from beadline.features.records.schemas import Choice
from beadline.kit import forms
from beadline.store.tables import Record

router = APIRouter(prefix="/api/v1/records", tags=["records"])
PER_PAGE = 100
Moment = Annotated[str, Query(max_length=40, description="ISO 8601; in the site's zone if it names none.")]


class Said(BaseModel):
    """One record: who did what to which thing, when and why, and the hashes that chain it."""

    id: int
    at: datetime
    user_name: str
    did: str
    thing: str
    thing_id: int | None
    said: str
    why: str
    before: dict[str, Any] | None
    after: dict[str, Any] | None
    previous_sha256: str
    sha256: str


class Trail(BaseModel):
    """A page of the audit trail, the newest record first."""

    page: int
    pages: int
    records: list[Said]


class Chain(BaseModel):
    """Whether every record follows from the one before it; if not, where it breaks first, and how."""

    holds: bool
    broken_at: int | None = Field(description="Id of a record.")
    reason: str


@router.get("")
def trail(
    session: ReadSession,
    viewer: Viewer,
    settings: SiteSettings,
    user_name: Annotated[str, Query(max_length=80)] = "",
    thing: Annotated[str, Query(max_length=80)] = "",
    since: Moment = "",
    until: Moment = "",
    page: Annotated[int, Query(ge=1, le=10**6, description="From 1; a page holds 100 records.")] = 1,
) -> Trail:
    """Give the audit trail, or what of it is asked for."""
    choice = Choice(
        user_name=user_name,
        thing=thing,
        since=forms.moment(since, settings.zone, where="since"),
        until=forms.moment(until, settings.zone, where="until"),
    )
    found, many = records.page(session, choice, number=page, per_page=PER_PAGE)
    return Trail(page=page, pages=max(1, -(-many // PER_PAGE)), records=[_told(record) for record in found])


@router.get("/chain")
def chain(session: ReadSession, viewer: Viewer) -> Chain:
    """Check the whole chain; this reads every record."""
    broken = records.verify(session)
    return Chain(
        holds=broken is None,
        broken_at=broken.record_id if broken else None,
        reason=broken.reason if broken else "",
    )


def _told(record: Record) -> Said:
    return Said(**{name: getattr(record, name) for name in Said.model_fields})
