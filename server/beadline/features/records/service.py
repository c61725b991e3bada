"""Write the audit trail, and check that nobody altered it."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.records import queries
from beadline.features.records.schemas import Broken
from beadline.store.tables import Record, User

START = "0" * 64


def write(
    session: Session,
    *,
    by: User | None,
    at: datetime,
    did: str,
    thing: str,
    thing_id: int | None,
    said: str,
    why: str = "",
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
) -> Record:
    """Add a record at the end of the chain, in the caller's transaction."""
    newest = queries.last(session)
    record = Record(
        id=newest.id + 1 if newest else 1,
        at=at,
        user_id=by.id if by else None,
        user_name=by.name if by else "beadline",
        did=did,
        thing=thing,
        thing_id=thing_id,
        said=said,
        why=why,
        before=before,
        after=after,
        previous_sha256=newest.sha256 if newest else START,
    )
    record.sha256 = digest(record)
    session.add(record)
    session.flush()  # the next record of this transaction builds on this one
    return record


def digest(record: Record) -> str:
    """Return the SHA-256 over all that a record says and the hash before it."""
    content = [
        record.id,
        record.at.astimezone(UTC).isoformat(timespec="microseconds"),
        record.user_id,
        record.user_name,
        record.did,
        record.thing,
        record.thing_id,
        record.said,
        record.why,
        record.before,
        record.after,
        record.previous_sha256,
    ]
    return hashlib.sha256(json.dumps(content, sort_keys=True, ensure_ascii=False).encode()).hexdigest()


def verify(session: Session) -> Broken | None:
    """Walk the whole chain; return where it first breaks, or None if it holds."""
    previous, expected = START, 1
    for record in queries.in_order(session):
        if record.id != expected:
            return Broken(expected, f"Record {expected} is missing; the next one found is {record.id}.")
        if record.previous_sha256 != previous:
            return Broken(record.id, "It does not follow from the record before it.")
        if digest(record) != record.sha256:
            return Broken(record.id, "Its content was altered after it was written.")
        previous, expected = record.sha256, expected + 1
    return None
