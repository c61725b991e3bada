"""The page on which the audit trail is reviewed and signed."""

from __future__ import annotations

from collections.abc import Mapping
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
from beadline.features.accounts import service as accounts
from beadline.features.record_reviews import service as reviews
from beadline.kit import forms
from beadline.kit.errors import Refusal

router = APIRouter(include_in_schema=False)
Reviewer = Annotated[Person, Depends(allowed("review records"))]


@router.get("/records/reviews")
def reviews_page(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    """Show who reviewed the records up to where, and what waits."""
    return _page(request, session, {}, None)


@router.post("/records/reviews", dependencies=[OurForm])
def sign(request: Request, session: WriteSession, reviewer: Reviewer, now: Now, posted: Posted) -> Response:
    """Sign a review, the password given again."""
    fits = accounts.confirmed(
        request.app.state.new_session, reviewer.user, posted.get("password", ""), at=now
    )
    try:
        with session.begin_nested():
            if not fits:
                raise accounts.not_yours()
            upto = forms.whole(posted.get("upto", ""), where="upto")
            reviews.sign(session, upto=upto or 0, note=posted.get("note", ""), by=reviewer.user, at=now)
    except Refusal as refusal:
        return _page(request, session, posted, refusal)
    return RedirectResponse("/records/reviews", status_code=303)


def _page(request: Request, session: Session, posted: Mapping[str, str], refusal: Refusal | None) -> Response:
    first, last = reviews.waiting(session)
    context = {
        "reviews": reviews.every(session),
        "first": first,
        "last": last,
        "form": {"upto": posted.get("upto", last), "note": posted.get("note", "")},
        "may_sign": "review records" in request.state.person.deeds,
        "refusal": refusal,
    }
    return templates.render(
        request, "records/reviews.html", context, status=refusal.status if refusal else 200
    )
