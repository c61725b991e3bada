"""Keep files byte for byte as they came, and give them back only if they are unharmed."""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.records import service as records
from beadline.features.traces import queries
from beadline.kit.errors import Conflict, NotFound
from beadline.store.tables import Trace, User


def keep(session: Session, content: bytes, *, filename: str, by: User, at: datetime) -> Trace:
    """Store a file, or return it if it is stored already."""
    sha256 = hashlib.sha256(content).hexdigest()
    stored = queries.with_sha256(session, sha256)
    if stored is not None:
        return stored
    trace = Trace(
        sha256=sha256,
        filename=filename[-255:],
        size_bytes=len(content),
        content=content,
        received_at=at,
        received_by_id=by.id,
    )
    session.add(trace)
    session.flush()  # the record needs its id
    said = f"Received {trace.filename}, {len(content)} bytes, SHA-256 {sha256[:12]}…"
    records.write(session, by=by, at=at, did="receive", thing="trace", thing_id=trace.id, said=said)
    return trace


def content_of(session: Session, trace_id: int) -> Trace:
    """Return a trace with its content, checked against its hash.

    Raises
    ------
    NotFound
        If there is no such trace.
    Conflict
        If the stored bytes are not those that came.
    """
    try:
        trace = queries.with_content(session, trace_id)
        if trace is None:
            raise NotFound(f"There is no trace {trace_id}.", where="trace", mend="Drop the file again.")
        if hashlib.sha256(trace.content).hexdigest() == trace.sha256:
            return trace
    except zlib.error:
        pass  # they do not even unpack
    said = f"The stored bytes of trace {trace_id} are not those that were received."
    raise Conflict(said, where="trace", mend="Restore the database from a backup.", code="harmed")


def harmed(session: Session, *, progress: Callable[[int, int], None] | None = None) -> list[int]:
    """Return the numbers of all traces whose stored bytes are not those that came; it reads every one."""
    found, every = [], queries.ids(session)
    for done, trace_id in enumerate(every, start=1):
        try:
            session.expunge(content_of(session, trace_id))  # one at a time in memory
        except Conflict:
            found.append(trace_id)
        if progress is not None:
            progress(done, len(every))
    return found
