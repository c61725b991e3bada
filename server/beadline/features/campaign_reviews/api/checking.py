"""Which checks the site makes before a campaign."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import BaseModel, Field

from beadline.boundary.deps import Now, Person, ReadSession, Session, Viewer, WriteSession, allowed
from beadline.features.campaign_reviews import service as reviews
from beadline.features.campaign_reviews.schemas import CHECKS, QUESTIONS

router = APIRouter(prefix="/api/v1/campaign-checks", tags=["campaign reviews"])
Reviewer = Annotated[Person, Depends(allowed("review a campaign"))]


class CheckLine(BaseModel):
    """A check, the question that it answers, and whether the site makes it."""

    name: str
    question: str
    made: bool


class Chosen(BaseModel):
    """The checks that the site makes from now on, and why."""

    made: list[str] = Field(max_length=len(CHECKS))
    reason: str = Field(description="Needed; it stays in the record.")


@router.get("")
def list_checks(session: ReadSession, viewer: Viewer) -> list[CheckLine]:
    """List every check and whether the site makes it."""
    return _told(session)


@router.post("")
def choose(session: WriteSession, reviewer: Reviewer, now: Now, said: Chosen) -> list[CheckLine]:
    """Choose which checks the site makes; reviews that exist keep what they were made with."""
    reviews.choose(session, set(said.made), reason=said.reason, by=reviewer.user, at=now)
    return _told(session)


def _told(session: Session) -> list[CheckLine]:
    left_out = reviews.left_out(session)
    return [CheckLine(name=name, question=QUESTIONS[name], made=name not in left_out) for name in CHECKS]
