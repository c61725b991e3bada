"""Reviews of the audit trail, for programs."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, Field

from beadline.boundary.deps import Now, Person, ReadSession, Session, Viewer, WriteSession, allowed
from beadline.features.accounts import service as accounts
from beadline.features.record_reviews import service as reviews

router = APIRouter(prefix="/api/v1/record-reviews", tags=["records"])
Reviewer = Annotated[Person, Depends(allowed("review records"))]
MANY = 2**53


class ReviewOfRecords(BaseModel):
    """Who reviewed the records up to where; `broken` says what no longer fits, empty where it holds."""

    number: int
    first: int
    last: int
    reviewer: str
    role: str
    at: datetime
    note: str
    broken: str


class Reviews(BaseModel):
    """What waits to be reviewed, and all reviews, the newest first."""

    first_waiting: int = Field(description="Number of a record; above the last one, none waits.")
    last_record: int
    reviews: list[ReviewOfRecords]


class Signing(BaseModel):
    """A review to be signed: up to which record, with what found, and the password again."""

    upto: int = Field(ge=1, le=MANY)
    note: str = ""
    password: str


@router.get("")
def list_reviews(session: ReadSession, viewer: Viewer) -> Reviews:
    """Tell who reviewed the records up to where, and what waits."""
    return _told(session)


@router.post("", status_code=201)
def sign(request: Request, session: WriteSession, reviewer: Reviewer, now: Now, said: Signing) -> Reviews:
    """Sign that the records up to one were reviewed."""
    accounts.confirm(request.app.state.new_session, reviewer.user, said.password, at=now)
    reviews.sign(session, upto=said.upto, note=said.note, by=reviewer.user, at=now)
    return _told(session)


def _told(session: Session) -> Reviews:
    first, last = reviews.waiting(session)
    names = ReviewOfRecords.model_fields
    return Reviews(
        first_waiting=first,
        last_record=last,
        reviews=[
            ReviewOfRecords(**{name: getattr(one, name) for name in names}) for one in reviews.every(session)
        ],
    )
