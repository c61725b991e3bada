"""Alerts, for programs: read them, and say what is done about one."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Depends, File, Query, Response, UploadFile

from beadline.boundary.deps import Now, Person, ReadSession, Viewer, WriteSession, allowed
from beadline.features.accounts import queries as accounts
from beadline.features.alerts import service as alerts
from beadline.features.alerts.api import models, shaping
from beadline.kit.errors import Invalid

router = APIRouter(prefix="/api/v1/alerts", tags=["alerts"])
Handler = Annotated[Person, Depends(allowed("acknowledge"))]
PER_PAGE = 50
Which = Literal["open", "closed", "all"]


@router.get("")
def list_alerts(
    session: ReadSession,
    viewer: Viewer,
    now: Now,
    status: Which = "open",
    page: Annotated[int, Query(ge=1, le=10**6)] = 1,
) -> list[models.AlertLine]:
    """Return 50 alerts a page: action level first, then the newest."""
    found = alerts.listed(session, which=status, page=page, per_page=PER_PAGE)
    return [shaping.line(alert, now) for alert in found]


@router.get("/{alert_id}")
def one_alert(session: ReadSession, viewer: Viewer, now: Now, alert_id: int) -> models.WholeAlert:
    """Return an alert with its evidence, candidate causes and history."""
    return shaping.whole(session, alerts.get(session, alert_id), now)


@router.post("/{alert_id}/acknowledge")
def acknowledge(
    session: WriteSession, handler: Handler, now: Now, alert_id: int, said: models.Comment
) -> models.AlertLine:
    """Say that somebody has seen an alert; it stays open."""
    alert = alerts.get(session, alert_id)
    alerts.acknowledge(session, alert, comment=said.comment, by=handler.user, at=now)
    return shaping.line(alert, now)


@router.post("/{alert_id}/comment")
def comment(
    session: WriteSession, handler: Handler, now: Now, alert_id: int, said: models.Comment
) -> models.AlertLine:
    """Add a comment."""
    alert = alerts.get(session, alert_id)
    alerts.remark(session, alert, comment=said.comment, by=handler.user, at=now)
    return shaping.line(alert, now)


@router.post("/{alert_id}/shelve")
def shelve(
    session: WriteSession, handler: Handler, now: Now, alert_id: int, said: models.Shelf
) -> models.AlertLine:
    """Put an alert aside for some days; then it waits to be acknowledged again."""
    alert = alerts.get(session, alert_id)
    alerts.shelve(session, alert, days=said.days, comment=said.comment, by=handler.user, at=now)
    return shaping.line(alert, now)


@router.post("/{alert_id}/close")
def close(
    session: WriteSession, handler: Handler, now: Now, alert_id: int, said: models.Comment
) -> models.AlertLine:
    """Close an acknowledged alert with what was found and done."""
    alert = alerts.get(session, alert_id)
    alerts.close(session, alert, comment=said.comment, by=handler.user, at=now)
    return shaping.line(alert, now)


@router.post("/{alert_id}/holder")
def assign(
    session: WriteSession, handler: Handler, now: Now, alert_id: int, holder: models.Holder
) -> models.AlertLine:
    """Give an alert to somebody who may handle it, or to nobody."""
    alert = alerts.get(session, alert_id)
    to = None if holder.name is None else accounts.user_named(session, holder.name)
    if holder.name is not None and to is None:
        raise Invalid(
            f"There is nobody named {holder.name!r}.", where="name", mend="Give the name of an account."
        )
    alerts.assign(session, alert, to, by=handler.user, at=now)
    session.refresh(alert, ["assigned_to"])
    return shaping.line(alert, now)


@router.post("/{alert_id}/pictures", status_code=201)
def add_picture(
    session: WriteSession,
    handler: Handler,
    now: Now,
    alert_id: int,
    picture: Annotated[UploadFile, File(description="PNG or JPEG.")],
) -> models.WholeAlert:
    """Add a picture as evidence."""
    alert = alerts.get(session, alert_id)
    name = picture.filename or "picture"
    alerts.add_picture(session, alert, picture.file.read(), filename=name, by=handler.user, at=now)
    session.refresh(alert, ["events"])
    return shaping.whole(session, alert, now)


@router.get(
    "/{alert_id}/pictures/{picture_id}",
    response_class=Response,
    responses={200: {"content": {"image/png": {}, "image/jpeg": {}}, "description": "The file"}},
)
def picture(session: ReadSession, viewer: Viewer, alert_id: int, picture_id: int) -> Response:
    """Give a picture as it came, after checking its hash."""
    content, media_type = alerts.picture_content(session, alert_id, picture_id)
    return Response(content, media_type=media_type)
