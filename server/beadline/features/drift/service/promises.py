"""What a bed's pulse test promises of its first runs, by the pulse tests and baselines of its sisters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.pulse_tests import queries as pulse_queries
from beadline.features.transitions import service as transitions
from beadline.science import drift as science
from beadline.science.drift.promise import OF_THE_PULSE_TEST
from beadline.store.tables import BedState, Packing, PulseTest


def promises(
    session: Session, packing: Packing, sisters: Sequence[tuple[Packing, BedState, datetime]]
) -> Mapping[str, science.Promise]:
    """Return what the bed's pulse test promises of its official transition, by key.

    Parameters
    ----------
    sisters : sequence of tuple
        Beds whose baseline is complete, with their standing and the start of their first run.
    """
    own = next(iter(_valid(pulse_queries.of_packing(session, packing.id))), None)
    if own is None:
        return {}
    tested = [(standing, _qualifying(session, sister, before)) for sister, standing, before in sisters]
    official = transitions.official(transitions.planned(packing.step_plan)).name
    found = {}
    for metric, of_the_test in OF_THE_PULSE_TEST.items():
        key = f"{official}/{metric}"
        pairs = [pair for standing, test in tested if (pair := _pair(standing, test, key, of_the_test))]
        pulse = own.estimates.get(of_the_test, (0.0,))[0]
        if pulse > 0 and (promise := science.promised(pulse, pairs)) is not None:
            found[key] = promise
    return found


def _valid(tests: Sequence[PulseTest]) -> list[PulseTest]:
    return [test for test in tests if test.usable and test.verdict != "not valid"]


def _qualifying(session: Session, packing: Packing, before: datetime) -> PulseTest | None:
    """Return the newest valid pulse test from before a bed's first run."""
    tests = _valid(pulse_queries.of_packing(session, packing.id))
    return next((test for test in tests if test.performed_at <= before), None)


def _pair(standing: BedState, test: PulseTest | None, key: str, of_the_test: str) -> science.Pair | None:
    baseline = science.Baseline.from_dict(standing.state["baseline"])
    if test is None or of_the_test not in test.estimates or key not in baseline.keys:
        return None
    place = baseline.keys.index(key)
    runs = float(baseline.on_unit(baseline.centre)[place])
    return science.Pair(float(test.estimates[of_the_test][0]), runs)
