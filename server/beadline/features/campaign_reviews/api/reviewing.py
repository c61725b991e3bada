"""Campaign reviews, for programs: announce a campaign, review a bed, read and sign reviews."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, SiteSettings, Viewer, WriteSession, allowed
from beadline.boundary.shapes import Why
from beadline.features.accounts import service as accounts
from beadline.features.campaign_reviews import service as reviews
from beadline.features.campaign_reviews.schemas import DECISIONS, Plan, Policy
from beadline.features.packings import service as packings
from beadline.store.tables import CampaignReview

router = APIRouter(prefix="/api/v1", tags=["campaign reviews"])
Reviewer = Annotated[Person, Depends(allowed("review a campaign"))]
Approver = Annotated[Person, Depends(allowed("approve a campaign"))]
PER_PAGE = 50


class Campaign(BaseModel):
    """What is planned; the pool and its tank in L where they are known."""

    model_config = ConfigDict(extra="forbid")

    packing_id: int
    product: str = Field("", max_length=80)
    cycles: int = Field(ge=1)
    starts_on: date
    pool_volume_l: float | None = Field(None, gt=0)
    pool_tank_l: float | None = Field(None, gt=0)

    def plan(self) -> Plan:
        """Return the plan without its bed."""
        return Plan(**self.model_dump(exclude={"packing_id"}))


class PlannedLine(BaseModel):
    """A campaign that was announced."""

    id: int


class ReviewLine(BaseModel):
    """A review in short; the state is draft, decided or approved."""

    id: int
    packing_id: int
    product: str
    cycles: int
    starts_on: date
    sentence: str
    proposal: str
    state: str
    decision: str
    made_at: datetime
    address: str


class Signed(BaseModel):
    """A signature; `broken` says what no longer fits and is empty where it holds."""

    who: str
    role: str
    meaning: str
    at: datetime
    content_sha256: str
    broken: str


class WholeReview(ReviewLine):
    """A review with all that was known when it was made, and its signatures."""

    reason: str
    content: dict[str, Any] = Field(description="Bed, plan, forecasts, checks and rules, as stored.")
    content_sha256: str
    signatures: list[Signed]


class Approval(BaseModel):
    """A signature: the password of who signs, again."""

    password: str


class Decided(Approval):
    """A decision with its reason, signed."""

    decision: str = Field(description=f"One of: {', '.join(DECISIONS)}.")
    reason: str


@router.post("/planned-campaigns", status_code=201)
def plan(session: WriteSession, reviewer: Reviewer, now: Now, campaign: Campaign) -> PlannedLine:
    """Announce a campaign; its review is on the calendar from then on."""
    packing = packings.get(session, campaign.packing_id)
    made = reviews.plan(session, packing, campaign.plan(), by=reviewer.user, at=now)
    return PlannedLine(id=made.id)


@router.post("/planned-campaigns/{campaign_id}/call-off")
def call_off(session: WriteSession, reviewer: Reviewer, now: Now, campaign_id: int, why: Why) -> PlannedLine:
    """Call a planned campaign off."""
    reviews.call_off(session, campaign_id, reason=why.reason, by=reviewer.user, at=now)
    return PlannedLine(id=campaign_id)


@router.get("/campaign-reviews")
def list_reviews(
    session: ReadSession, viewer: Viewer, page: Annotated[int, Query(ge=1, le=10**6)] = 1
) -> list[ReviewLine]:
    """Return 50 reviews a page, the newest first."""
    found, _ = reviews.listed(session, page=page, per_page=PER_PAGE)
    return [ReviewLine(**_short(review)) for review in found]


@router.post("/campaign-reviews", status_code=201)
def start(
    session: WriteSession, reviewer: Reviewer, settings: SiteSettings, now: Now, campaign: Campaign
) -> WholeReview:
    """Review a bed for a planned campaign; what is found is stored as it is now."""
    policy = Policy(
        settings.pulse_test_days,
        settings.storage_days,
        reviews.left_out(session),
        settings.pulse_test_cycles,
    )
    packing = packings.get(session, campaign.packing_id)
    made = reviews.start(session, packing, campaign.plan(), policy=policy, by=reviewer.user, at=now)
    return _whole(reviews.get(session, made.id))


@router.get("/campaign-reviews/{review_id}")
def one_review(session: ReadSession, viewer: Viewer, review_id: int) -> WholeReview:
    """Give a review whole."""
    return _whole(reviews.get(session, review_id))


@router.post("/campaign-reviews/{review_id}/decision")
def decide(
    request: Request, session: WriteSession, reviewer: Reviewer, now: Now, review_id: int, said: Decided
) -> WholeReview:
    """Decide and sign as an engineer."""
    accounts.confirm(request.app.state.new_session, reviewer.user, said.password, at=now)
    review = reviews.get_to_sign(session, review_id)
    reviews.decide(session, review, decision=said.decision, reason=said.reason, by=reviewer.user, at=now)
    return _whole(reviews.get(session, review_id))


@router.post("/campaign-reviews/{review_id}/approval")
def approve(
    request: Request, session: WriteSession, approver: Approver, now: Now, review_id: int, said: Approval
) -> WholeReview:
    """Approve and sign as quality."""
    accounts.confirm(request.app.state.new_session, approver.user, said.password, at=now)
    reviews.approve(session, reviews.get_to_sign(session, review_id), by=approver.user, at=now)
    return _whole(reviews.get(session, review_id))


def _short(review: CampaignReview) -> dict[str, Any]:
    same = (
        "id",
        "packing_id",
        "product",
        "starts_on",
        "sentence",
        "proposal",
        "state",
        "decision",
        "made_at",
    )
    told = {name: getattr(review, name) for name in same}
    return told | {"cycles": review.cycles_planned, "address": f"/campaign-reviews/{review.id}"}


def _whole(review: CampaignReview) -> WholeReview:
    return WholeReview(
        **_short(review),
        reason=review.reason,
        content=review.content,
        content_sha256=reviews.content_sha256(review),
        signatures=[
            Signed(**{name: getattr(one, name) for name in Signed.model_fields})
            for one in reviews.signatures(review)
        ],
    )
