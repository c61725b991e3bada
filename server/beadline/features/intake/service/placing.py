"""Where a run belongs: one that comes late, and one that another file has told already."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta, tzinfo

import numpy as np
from sqlalchemy.orm import Session

from beadline.features.cycles import queries as cycle_queries
from beadline.features.intake.schemas import LateRun
from beadline.kit.errors import Conflict
from beadline.reading import Trace
from beadline.store.tables import Packing

PACKED_WITHIN = timedelta(days=1)  # a packing record's hour is often a guess


def signals_sha256(trace: Trace) -> str:
    """Return a hash over the values of all signals: the same however the file is written around them."""
    found = hashlib.sha256()
    for signal in sorted(trace.signals, key=lambda one: (one.quantity, one.role, one.name)):
        found.update(f"{signal.quantity} {signal.role} {len(signal.values)};".encode())
        found.update(np.ascontiguousarray(signal.values, "<f8").tobytes())
    return found.hexdigest()


def recorded_alike(session: Session, packing: Packing, trace: Trace) -> Conflict | None:
    """Return a refusal that names the recorded run with the same signals, if there is one.

    Two runs of a real bed never have the same noise, so that this is the same run in another file.
    """
    same = cycle_queries.alike(session, signals_sha256(trace))
    known = next((cycle for cycle in same if cycle.packing_id == packing.id), next(iter(same), None))
    if known is None:
        return None
    whose = f"cycle {known.number}"
    if known.packing_id != packing.id:
        whose += f" of {known.packing.column.name}, packing {known.packing.number}"
    said = f"This looks like the run recorded as {whose}, from {known.trace.filename}"
    return Conflict(
        f"{said}: its signals are the same.",
        where="file",
        mend="If it is that run, nothing is left to do. If it is another one, say so: tick it on the page, "
        "or send another_run=true.",
        code="looks-recorded",
    )


def late(session: Session, packing: Packing, moment: datetime, *, zone: tzinfo) -> LateRun | None:
    """Return what to say of a run that started before the newest recorded one; None if it did not.

    None too for a start before the bed was packed: that is no older run of this bed, and is said elsewhere.
    """
    cycles = cycle_queries.starts(session, packing.id)
    if not cycles or moment >= cycles[-1][1] or moment < packing.packed_at - PACKED_WITHIN:
        return None
    before = max((number for number, started_at in cycles if started_at <= moment), default=0)
    after = min(number for number, started_at in cycles if started_at > moment)
    taken = {number for number, _ in cycles}
    free = next((number for number in range(after - 1, before, -1) if number not in taken), None)
    when = f"{moment.astimezone(zone):%Y-%m-%d %H:%M}"
    said = f"This run started on {when}, before cycle {cycles[-1][0]}, the newest. "
    if free is not None:
        said += f"If it is an older run, it fits as cycle {free}, which is free: give that number."
    elif before:
        said += f"If it is an older run, give its cycle number; none is free between {before} and {after}."
    else:
        said += f"If it is an older run, give its cycle number; none is free before {after}."
    return LateRun(said, free)
