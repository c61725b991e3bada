"""Which checks the site makes before a campaign: look at them, and change them with a reason."""

from __future__ import annotations

from collections.abc import Collection
from typing import Annotated

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
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.campaign_reviews import service as reviews
from beadline.features.campaign_reviews.schemas import CHECKS, KIND_OF, QUESTIONS
from beadline.kit.errors import Refusal

router = APIRouter()
Reviewer = Annotated[Person, Depends(allowed("review a campaign"))]
VERSIONS = 20


@router.get("/campaign-reviews/checks")
def checks_page(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    """Show which checks the site makes, and who chose that."""
    made = set(CHECKS) - reviews.left_out(session)
    return _page(request, session, made, "", None)


@router.post("/campaign-reviews/checks", dependencies=[OurForm])
def choose(request: Request, session: WriteSession, reviewer: Reviewer, now: Now, posted: Posted) -> Response:
    """Choose which checks the site makes."""
    made = {name for name in CHECKS if posted.get(_field(name))}
    reason = posted.get("reason", "")
    try:
        with session.begin_nested():
            reviews.choose(session, made, reason=reason, by=reviewer.user, at=now)
    except Refusal as refusal:
        return _page(request, session, made, reason, refusal)
    return RedirectResponse("/campaign-reviews/checks", status_code=303)


def _field(name: str) -> str:
    return f"check_{name.replace(' ', '_')}"


def _page(
    request: Request, session: Session, made: Collection[str], reason: str, refusal: Refusal | None
) -> Response:
    context = {
        "checks": [(_field(name), name, QUESTIONS[name], name in made) for name in CHECKS],
        "rules": [(rule.check, rule.verdict, KIND_OF[rule.verdict], rule.decision) for rule in reviews.RULES],
        "left_out": set(CHECKS) - set(made),
        "versions": reviews.versions(session, limit=VERSIONS),
        "may": "review a campaign" in request.state.person.deeds,
        "reason": reason,
        "refusal": refusal,
    }
    status = refusal.status if refusal else 200
    return templates.render(request, "campaign_reviews/checks.html", context, status=status)
