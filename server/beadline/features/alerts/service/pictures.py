"""Pictures as evidence: what was seen at the column, kept byte for byte with their SHA-256."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.alerts import queries
from beadline.features.alerts.service import history
from beadline.features.traces import service as traces
from beadline.kit.errors import Invalid, NotFound
from beadline.store.tables import Alert, AlertPicture, User

LARGEST_MB = 8
SIGNATURES = {b"\x89PNG\r\n\x1a\n": "image/png", b"\xff\xd8\xff": "image/jpeg"}


def add_picture(
    session: Session, alert: Alert, content: bytes, *, filename: str, by: User, at: datetime
) -> AlertPicture:
    """Add a picture to an alert; its content tells what it is, not its name.

    Raises
    ------
    Invalid
        If it is neither PNG nor JPEG, or too large.
    """
    if len(content) > LARGEST_MB * 1_000_000:
        mend = f"Send one of at most {LARGEST_MB} MB."
        raise Invalid("This picture is too large.", where="picture", mend=mend)
    media_type = next((kind for start, kind in SIGNATURES.items() if content.startswith(start)), "")
    if not media_type:
        raise Invalid("This file is no picture.", where="picture", mend="Send a PNG or JPEG file.")
    trace = traces.keep(session, content, filename=filename, by=by, at=at)
    picture = AlertPicture(
        alert_id=alert.id, trace_id=trace.id, media_type=media_type, added_at=at, added_by_id=by.id
    )
    session.add(picture)
    why = f"{filename}, SHA-256 {trace.sha256}"
    history.note(session, alert, "added a picture", by=by, at=at, comment=why)
    said = f"Added a picture to the alert of {history.title_of(alert.packing)} {why}"
    history.say(session, alert.packing, alert, "add picture", said, by=by, at=at)
    return picture


def picture_content(session: Session, alert_id: int, picture_id: int) -> tuple[bytes, str]:
    """Return a picture's bytes, checked against their hash, and its type.

    Raises
    ------
    NotFound
        If the alert has no such picture.
    """
    picture = next((one for one in queries.pictures(session, alert_id) if one.id == picture_id), None)
    if picture is None:
        raise NotFound("This alert has no such picture.", mend="Open it from the alert's page.")
    return traces.content_of(session, picture.trace_id).content, picture.media_type
