"""Write the audit trail, and check that nobody altered it."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy.orm import Session

from beadline.features.records import queries
from beadline.features.records.schemas import Broken, Choice, News
from beadline.store.tables import Record, User

START = "0" * 64
NOBODY = "beadline"  # who did what no person did
TOLD_LIVE = ("cycle", "alert", "packing", "pulse test")
MOST_NEWS = 20
FIELDS = (
    "id",
    "at",
    "user_name",
    "did",
    "thing",
    "thing_id",
    "said",
    "why",
    "before",
    "after",
    "previous_sha256",
    "sha256",
)


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
    number, previous = queries.last(session) or (0, START)
    record = Record(
        id=number + 1,
        at=at,
        user_id=by.id if by else None,
        user_name=by.name if by else NOBODY,
        did=did,
        thing=thing,
        thing_id=thing_id,
        said=said,
        why=why,
        before=before,
        after=after,
        previous_sha256=previous,
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


def page(session: Session, choice: Choice, *, number: int, per_page: int) -> tuple[Sequence[Record], int]:
    """Return a page of the records that were chosen, newest first, and how many there are in all."""
    found = queries.newest(session, choice, limit=per_page, offset=(number - 1) * per_page)
    every = choice == Choice()  # records are numbered without a gap
    return found, queries.newest_id(session) if every else queries.count(session, choice)


def choices(session: Session) -> dict[str, Sequence[str]]:
    """Return what can be chosen from: who did something, and to what."""
    return {"user_name": [NOBODY, *queries.user_names(session)], "thing": queries.things(session)}


def as_csv(session: Session, choice: Choice, *, zone: ZoneInfo) -> Iterator[str]:
    """Yield the records that were chosen as lines of CSV, oldest first, hashes and site time included."""
    yield _csv_line([*FIELDS, "at_site_time"])
    for record in queries.chosen_in_order(session, choice):
        there = record.at.astimezone(zone).isoformat()
        yield _csv_line([*(_cell(getattr(record, name)) for name in FIELDS), there])


def _cell(value: Any) -> str:
    """Write a value; text that a spreadsheet would take for a formula gets an apostrophe before it."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    text = json.dumps(value, sort_keys=True, ensure_ascii=False) if isinstance(value, dict) else str(value)
    return f"'{text}" if isinstance(value, str) and text.startswith(("=", "+", "-", "@")) else text


def _csv_line(cells: Sequence[str]) -> str:
    line = io.StringIO()
    csv.writer(line).writerow(cells)
    return line.getvalue()


def news(session: Session, known: int | None) -> tuple[int, list[News]]:
    """Return the newest record's number, and what open pages should hear of since the one that they know.

    Who knows none hears only what comes from now on; who was away for long hears of the newest.
    """
    latest = queries.newest_id(session)
    if known is None or known >= latest:
        return latest, []
    found = queries.about(session, TOLD_LIVE, after=known, limit=MOST_NEWS)
    return latest, [News(record.id, record.thing, record.said) for record in reversed(found)]
