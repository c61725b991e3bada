"""The beds in use, with what the calendar knows of each; a few queries for all of them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from beadline.features.calendar import queries
from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import queries as drift_queries
from beadline.features.packings import service as packings
from beadline.features.pulse_tests import queries as pulse_queries
from beadline.store.tables import Packing, PulseTest

PACE_DAYS = 60  # the pace is that of so many days, or of the bed's life if it is younger
FEWEST_RUNS = 3  # fewer give no pace


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed:
    """What the calendar knows of a bed; `pace` in runs a day, None if it does not run."""

    packing: Packing
    test: PulseTest | None
    used: int
    lot_used: int
    since_test: int
    last_run: datetime | None
    pace: float | None

    @property
    def name(self) -> str:
        """As on every page."""
        return f"{self.packing.column.name}, packing {self.packing.number}"


def every(session: Session, at: datetime) -> list[Bed]:
    """Return every bed in use."""
    in_use = packings.in_use(session)
    ids = [packing.id for packing in in_use]
    tests = pulse_queries.newest_of_packings(session, ids)
    last_runs = drift_queries.last_runs(session, ids)
    lots = cycle_queries.used_by_lots(session, [packing.lot_id for packing in in_use])
    recent = queries.runs_since(session, ids, at - timedelta(days=PACE_DAYS))
    since_test = queries.runs_since_test(session, ids)
    beds = []
    for packing in in_use:
        last_cycle, last_run = last_runs.get(packing.id, (None, None))
        used = last_cycle or 0
        beds.append(
            Bed(
                packing=packing,
                test=tests.get(packing.id),
                used=used,
                lot_used=max(lots.get(packing.lot_id, 0), used),
                since_test=since_test.get(packing.id, 0),
                last_run=last_run,
                pace=_pace(packing, recent.get(packing.id, 0), at),
            )
        )
    return beds


def _pace(packing: Packing, runs: int, at: datetime) -> float | None:
    days = min(PACE_DAYS, max(1.0, (at - packing.packed_at).total_seconds() / 86400))
    return runs / days if runs >= FEWEST_RUNS else None
