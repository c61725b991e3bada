"""Post a message to a program: JSON, signed, so that the receiver can tell who sent it and when."""

from __future__ import annotations

import hashlib
import hmac
import json
from typing import Any

import httpx

from beadline.features.notices.jobs.errors import NotDelivered
from beadline.features.notices.schemas import Item, Parcel

WITHIN_S = 20.0


def send(parcel: Parcel) -> None:
    """Post a message; only an answer of 200 to 299 counts as taken.

    Redirects are not followed and what is answered is shown to nobody, so that a route can't be used to
    read what only this server reaches.

    Raises
    ------
    NotDelivered
        If it was not taken.
    """
    body = json.dumps(content_of(parcel), ensure_ascii=False, separators=(",", ":")).encode()
    timestamp = str(int(parcel.at.timestamp()))
    headers = {
        "Content-Type": "application/json",
        "User-Agent": "Beadline",
        "Beadline-Timestamp": timestamp,
        "Beadline-Signature": signature(parcel.secret, timestamp, body),
    }
    try:
        answer = httpx.post(
            parcel.target, content=body, headers=headers, timeout=WITHIN_S, follow_redirects=False
        )
    except (httpx.HTTPError, httpx.InvalidURL) as error:
        raise NotDelivered(f"The receiver can't be reached: {type(error).__name__}.") from error
    if not answer.is_success:
        raise NotDelivered(f"The receiver answered with status {answer.status_code}.")


def signature(secret: str, timestamp: str, body: bytes) -> str:
    """Return the HMAC-SHA256, in hex, over the timestamp, a full stop and the body.

    Examples
    --------
    >>> signature("key", "1764086400", b"{}")[:16]
    '1f6b8ad42319c55b'
    """
    return hmac.new(secret.encode(), timestamp.encode() + b"." + body, hashlib.sha256).hexdigest()


def content_of(parcel: Parcel) -> dict[str, Any]:
    """Return what is posted; names are never renamed, new ones may come."""
    return {
        "version": 1,
        "route": parcel.route_name,
        "sent_at": parcel.at.isoformat(),
        "test": parcel.is_test,
        "demo": parcel.demo,
        "notices": [_as_dict(item) for item in parcel.items],
    }


def _as_dict(item: Item) -> dict[str, Any]:
    return {
        "id": item.notice_id,
        "event": item.event,
        "alert": item.alert_id,
        "level": item.level,
        "status": item.status,
        "column": item.column_tag,
        "column_name": item.column_name,
        "area": item.area,
        "packing": item.packing_number,
        "headline": item.headline,
        "sentence": item.sentence,
        "raised_at": item.raised_at.isoformat(),
        "since_cycle": item.since_cycle,
        "since_low": item.since_low,
        "since_high": item.since_high,
        "latest_cycle": item.latest_cycle,
        "evidence": list(item.evidence),
        "causes": [{"name": name, "check": check} for name, check in item.causes],
        "link": item.link,
        "acknowledge": item.answer,
    }
