"""Start a review, read it, decide, approve."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    SiteSettings,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.accounts import service as accounts
from beadline.features.campaign_reviews import service as reviews
from beadline.features.campaign_reviews.pages import planning
from beadline.features.campaign_reviews.schemas import DECISIONS, KIND_OF, Policy
from beadline.features.packings import service as packings
from beadline.kit import forms, looks
from beadline.kit.errors import Refusal
from beadline.settings import Settings
from beadline.store.tables import CampaignReview

router = APIRouter()
Reviewer = Annotated[Person, Depends(allowed("review a campaign"))]
Approver = Annotated[Person, Depends(allowed("approve a campaign"))]
PER_PAGE = 50
ASKED = ("packing", "product", "cycles", "starts_on", "pool_volume_l", "pool_tank_l")
KIND_OF_DECISION: dict[str, looks.Kind] = {
    "use": "ok",
    "use with conditions": "watch",
    "pulse test first": "watch",
    "repack": "act",
    "replace resin": "act",
}


@router.get("/campaign-reviews")
def list_page(request: Request, session: ReadSession, viewer: Viewer, page: int = 1) -> Response:
    """Show all reviews, newest first."""
    page = max(1, page)
    found, more = reviews.listed(session, page=page, per_page=PER_PAGE)
    context = {
        "reviews": found,
        "kinds": KIND_OF_DECISION,
        "page": page,
        "last_page": page + 1 if more else page,
    }
    return templates.render(request, "campaign_reviews/reviews.html", context)


@router.get("/campaign-reviews/new")
def new_page(
    request: Request,
    session: ReadSession,
    reviewer: Reviewer,
    now: Now,
    packing: str = "",
    product: str = "",
    cycles: str = "",
    starts_on: str = "",
) -> Response:
    """Show the form; a bed that is given is chosen already, with what is known of it and of the plan."""
    form: dict[str, Any] = {"packing": packing, "starts_on": starts_on or now.date().isoformat()}
    form |= {"product": product, "cycles": cycles}
    bed = next((p for p in packings.in_use(session) if str(p.id) == packing), None)
    if bed is not None:
        form |= {"product": product or bed.step_plan.product, "pool_tank_l": bed.pool_tank_l or ""}
        form["pool_volume_l"] = bed.pool_volume_l or ""
    return _form(request, session, form, None)


@router.post("/campaign-reviews", dependencies=[OurForm])
def start(
    request: Request,
    session: WriteSession,
    reviewer: Reviewer,
    settings: SiteSettings,
    now: Now,
    posted: Posted,
) -> Response:
    """Review a bed and show what was found."""
    try:
        with session.begin_nested():
            packing = packings.get(session, forms.whole(posted.get("packing", ""), where="packing") or 0)
            plan, policy = planning.plan_of(posted), _policy(session, settings)
            review = reviews.start(session, packing, plan, policy=policy, by=reviewer.user, at=now)
    except Refusal as refusal:
        return _form(request, session, posted, refusal)
    return RedirectResponse(f"/campaign-reviews/{review.id}", status_code=303)


def _policy(session: Session, settings: Settings) -> Policy:
    return Policy(
        settings.pulse_test_days,
        settings.storage_days,
        reviews.left_out(session),
        settings.pulse_test_cycles,
    )


def _form(request: Request, session: Session, posted: Mapping[str, Any], refusal: Refusal | None) -> Response:
    beds = [(str(p.id), f"{p.column.name}, packing {p.number}") for p in packings.in_use(session)]
    context = {
        "beds": [("", "Choose a bed"), *beds],
        "form": {name: posted.get(name, "") for name in ASKED},
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "campaign_reviews/new_review.html", context, status=status)


@router.get("/campaign-reviews/{review_id}.pdf")
def report(
    session: ReadSession,
    viewer: Viewer,
    settings: SiteSettings,
    now: Now,
    review_id: int,
    paper: Literal["a4", "letter"] = "a4",
) -> Response:
    """Send a review as PDF."""
    review = reviews.get(session, review_id)
    made = reviews.report(review, sheet=paper, zone=settings.zone, demo=settings.demo, at=now)
    headers = {"Content-Disposition": f'inline; filename="campaign-review-{review_id}.pdf"'}
    return Response(made, media_type="application/pdf", headers=headers | {"Cache-Control": "no-store"})


@router.get("/campaign-reviews/{review_id}")
def review_page(request: Request, session: ReadSession, viewer: Viewer, review_id: int) -> Response:
    """Show one review: will it last?"""
    return _page(request, session, reviews.get(session, review_id), {}, None)


@router.post("/campaign-reviews/{review_id}/decision", dependencies=[OurForm])
def decide(
    request: Request, session: WriteSession, reviewer: Reviewer, now: Now, review_id: int, posted: Posted
) -> Response:
    """Decide and sign as an engineer."""
    fits = _confirmed(request, reviewer, posted, now)
    review = reviews.get_to_sign(session, review_id)
    try:
        with session.begin_nested():
            _need(fits)
            given = {name: posted.get(name, "") for name in ("decision", "reason")}
            reviews.decide(session, review, **given, by=reviewer.user, at=now)
    except Refusal as refusal:
        return _page(request, session, reviews.get(session, review_id), posted, refusal)
    return RedirectResponse(f"/campaign-reviews/{review_id}", status_code=303)


@router.post("/campaign-reviews/{review_id}/approval", dependencies=[OurForm])
def approve(
    request: Request, session: WriteSession, approver: Approver, now: Now, review_id: int, posted: Posted
) -> Response:
    """Approve and sign as quality."""
    fits = _confirmed(request, approver, posted, now)
    review = reviews.get_to_sign(session, review_id)
    try:
        with session.begin_nested():
            _need(fits)
            reviews.approve(session, review, by=approver.user, at=now)
    except Refusal as refusal:
        return _page(request, session, reviews.get(session, review_id), posted, refusal)
    return RedirectResponse(f"/campaign-reviews/{review_id}", status_code=303)


def _confirmed(request: Request, person: Person, posted: Mapping[str, str], at: datetime) -> bool:
    return accounts.confirmed(request.app.state.new_session, person.user, posted.get("password", ""), at=at)


def _need(fits: bool) -> None:  # noqa: FBT001
    if not fits:
        raise accounts.not_yours()


def _page(
    request: Request,
    session: Session,
    review: CampaignReview,
    posted: Mapping[str, str],
    refusal: Refusal | None,
) -> Response:
    forecasts = review.content["forecasts"]
    context = {
        "review": review,
        "bed": review.content["bed"],
        "plan": review.content["plan"],
        "forecasts": forecasts,
        "checks": [check | {"kind": KIND_OF[check["verdict"]]} for check in review.content["checks"]],
        "came": reviews.came(session, review),
        "curve": review.content.get("curve"),
        "left_out": review.content["left_out"],
        "rules": review.content["proposal"]["rules"],
        "kinds": KIND_OF_DECISION,
        "lede": looks.Lede(review.sentence, _proposed(review), KIND_OF_DECISION[review.proposal]),
        "signatures": reviews.signatures(review),
        "content_sha256": reviews.content_sha256(review),
        "decisions": DECISIONS,
        "form": {
            "decision": posted.get("decision", "" if posted else review.proposal),
            "reason": posted.get("reason", ""),
        },
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "campaign_reviews/review.html", context, status=status)


def _proposed(review: CampaignReview) -> str:
    """Say what is proposed, and what people decided."""
    said = f"Proposed: {review.proposal}."
    if review.state == "draft":
        return f"{said} Nothing is decided yet."
    state = "approved by quality" if review.state == "approved" else "not yet approved"
    return f"{said} Decided: {review.decision}, {state}."
