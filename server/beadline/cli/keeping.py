"""Commands that keep the data: back up, take back, check that nothing was altered."""

from __future__ import annotations

import sys
from pathlib import Path

from beadline.features.records import service as records
from beadline.features.traces import service as traces
from beadline.kit import clock
from beadline.settings import load
from beadline.store import backup as copies
from beadline.store.engine import make_engine, reading_sessions


def back_up(folder: Path) -> int:
    """Copy the database while the server runs."""
    made = copies.back_up(load().database_url, folder, at=clock.now())
    print(f"Wrote {made.path} ({made.size / 1e6:.1f} MB), SHA-256 {made.sha256}.")
    return 0


def restore(file: Path) -> int:
    """Take a backup back, then check it as `verify` does."""
    kept = copies.restore(load().database_url, file, at=clock.now())
    print(f"Restored {file}." + (f" The database that was there is kept as {kept}." if kept else ""))
    return verify()


def verify() -> int:
    """Check the chain of records and the bytes of every trace."""
    engine = make_engine(load().database_url)
    with reading_sessions(engine)() as session:
        broken = records.verify(session)
        harmed = traces.harmed(session)
    engine.dispose()
    if broken is not None:
        print(f"Record {broken.record_id}: {broken.reason}", file=sys.stderr)
    for trace_id in harmed:
        print(f"Trace {trace_id}: its bytes are not those that were received.", file=sys.stderr)
    if broken is not None or harmed:
        return 1
    print("Every record follows from the one before it, and every trace is as it was received.")
    return 0
