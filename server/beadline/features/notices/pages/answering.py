"""Acknowledge from a message: its link leads here, once somebody has signed in."""

from __future__ import annotations

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
from beadline.features.alerts import service as alerts
from beadline.features.notices import service as notices
from beadline.kit import looks
from beadline.kit.errors import Refusal

router = APIRouter()
Handler = Annotated[Person, Depends(allowed("acknowledge"))]


@router.get("/notices/{notice_id}/{signature}")
def answer_page(
    request: Request, session: ReadSession, viewer: Viewer, now: Now, notice_id: int, signature: str
) -> Response:
    """Show the alert that a message told of, with one thing to do."""
    return _page(request, session, now, notice_id, signature, "", None)


@router.post("/notices/{notice_id}/{signature}", dependencies=[OurForm])
def acknowledge(
    request: Request,
    session: WriteSession,
    handler: Handler,
    now: Now,
    notice_id: int,
    signature: str,
    posted: Posted,
) -> Response:
    """Acknowledge what the message told of."""
    notice, alert = notices.followed(session, notice_id, signature)
    comment = posted.get("comment", "")
    try:
        with session.begin_nested():
            notices.acknowledge(session, notice, alert, comment=comment, by=handler.user, at=now)
    except Refusal as refusal:
        return _page(request, session, now, notice_id, signature, comment, refusal)
    return RedirectResponse(f"/alerts/{alert.id}", status_code=303)


def _page(
    request: Request,
    session: Session,
    now: Now,
    notice_id: int,
    signature: str,
    comment: str,
    refusal: Refusal | None,
) -> Response:
    notice, alert = notices.followed(session, notice_id, signature)
    status = alerts.standing(alert, now)
    context = {
        "alert": {
            "id": alert.id,
            "bed": f"{alert.packing.column.name}, packing {alert.packing.number}",
            "status": status,
            "raised_at": alert.raised_at,
            "lede": looks.Lede(alert.headline, alert.sentence, looks.KIND_OF_LEVEL[alert.level]),
        },
        "route": notice.route.name,
        "path": request.url.path,
        "may": "acknowledge" in request.state.person.deeds and status == "raised",
        "comment": comment,
        "refusal": refusal,
    }
    return templates.render(
        request, "notices/answer.html", context, status=refusal.status if refusal else 200
    )
