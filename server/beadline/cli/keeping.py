"""Commands that keep the data: back up, take back, check that nothing was altered."""

from __future__ import annotations

import json
import sys
from functools import partial
from pathlib import Path
from typing import Any

from beadline.cli import progress
from beadline.features.records import service as records
from beadline.features.traces import service as traces
from beadline.kit import clock
from beadline.settings import load
from beadline.store import backup as copies
from beadline.store import migrate as migrations
from beadline.store.engine import make_engine, reading_sessions


def back_up(folder: Path, *, as_json: bool = False) -> int:
    """Copy the database while the server runs."""
    made = copies.back_up(load().database_url, folder, at=clock.now())
    told = {"file": str(made.path), "size_bytes": made.size, "sha256": made.sha256}
    said = f"Wrote {made.path} ({made.size / 1e6:.1f} MB), SHA-256 {made.sha256}."
    print(_json(told) if as_json else said)
    return 0


def restore(file: Path, *, as_json: bool = False) -> int:
    """Take a backup back, then check it as `verify` does, unless it has to be migrated first."""
    url = load().database_url
    kept = copies.restore(url, file, at=clock.now())
    told = {"restored": str(file), "kept": str(kept) if kept else None}
    if not as_json:
        print(f"Restored {file}." + (f" The database that was there is kept as {kept}." if kept else ""))
    engine = make_engine(url)
    current = migrations.is_current(engine)
    engine.dispose()
    if current:
        return verify(as_json=as_json, more=told)
    mend = "Its tables are not those of this version: run `beadline migrate`, then `beadline verify`."
    print(_json(told | {"well": None, "mend": mend}) if as_json else mend)
    return 0


def verify(*, as_json: bool = False, more: dict[str, Any] | None = None) -> int:
    """Check the chain of records and the bytes of every trace."""
    engine = make_engine(load().database_url)
    with reading_sessions(engine)() as session:
        broken = records.verify(session)
        harmed = traces.harmed(session, progress=partial(progress.show, noun="traces", stream=sys.stderr))
    engine.dispose()
    well = broken is None and not harmed
    if as_json:
        record = {"id": broken.record_id, "reason": broken.reason} if broken is not None else None
        print(_json((more or {}) | {"well": well, "broken_record": record, "harmed_traces": harmed}))
        return 0 if well else 1
    if broken is not None:
        print(f"Record {broken.record_id}: {broken.reason}", file=sys.stderr)
    for trace_id in harmed:
        print(f"Trace {trace_id}: its bytes are not those that were received.", file=sys.stderr)
    if well:
        print("Every record follows from the one before it, and every trace is as it was received.")
    return 0 if well else 1


def _json(told: dict[str, Any]) -> str:
    return json.dumps(told, indent=2, ensure_ascii=False)
