"""Pulse tests of a bed: read again as they were, by the present method, and judged by their own criteria."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy.orm import Session

from beadline.features.packings import service as packings
from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.recomputations.schemas import PulseOutcome, PulseTask
from beadline.features.recomputations.service import comparing
from beadline.features.traces import service as traces
from beadline.kit.errors import Conflict, Invalid
from beadline.reading import Profile
from beadline.science import pulse as science
from beadline.store.tables import Packing, PulseTest


def pulse_tasks(session: Session, packing_id: int) -> list[PulseTask | PulseOutcome]:
    """Return a bed's pulse tests with their traces, checked against their hashes; none that was voided.

    One whose trace is harmed comes as the outcome that says so.
    """
    packing = packings.get(session, packing_id)
    found = [one for one in pulse_tests.of_packing(session, packing) if one.voided_at is None]
    return [_task(session, packing, one) for one in found]


def _task(session: Session, packing: Packing, test: PulseTest) -> PulseTask | PulseOutcome:
    try:
        trace = traces.content_of(session, test.trace_id)
    except Conflict as error:
        return PulseOutcome(test_id=test.id, why=error.message)
    return PulseTask(
        test_id=test.id,
        content=trace.content,
        filename=trace.filename,
        bed=packings.bed_of(packing),
        facts=pulse_tests.facts_of(test),
        standard=pulse_tests.standard_of(test),
        profile=test.profile,
    )


def analyse_pulse(task: PulseTask) -> PulseOutcome:
    """Read and judge a pulse test's trace again; touches no database."""
    try:
        found = pulse_tests.analyse(
            task.content,
            filename=task.filename,
            bed=task.bed,
            facts=task.facts,
            standard=task.standard,
            profile=Profile.from_dict(task.profile),
        )
    except Invalid as error:
        return PulseOutcome(test_id=task.test_id, why=f"{error.message} {error.mend}".rstrip())
    return PulseOutcome(test_id=task.test_id, found=found)


def replace_pulse_tests(
    session: Session,
    recomputation_id: int,
    packing: Packing,
    outcomes: Sequence[PulseOutcome],
    *,
    at: datetime,
) -> list[dict[str, Any]]:
    """Let new results of a bed's pulse tests count, and return what changed, test by test.

    A test that was voided meanwhile, and one whose result is the stored one, stay as they are.
    """
    present = {one.id: one for one in pulse_tests.of_packing(session, packing) if one.voided_at is None}
    told = []
    for one in outcomes:
        test = present.get(one.test_id)
        if test is not None:
            told.append(_replaced(session, recomputation_id, packing, test, one, at=at))
    return told


def _replaced(
    session: Session,
    recomputation_id: int,
    packing: Packing,
    test: PulseTest,
    one: PulseOutcome,
    *,
    at: datetime,
) -> dict[str, Any]:
    said: dict[str, Any] = {"test": test.id, "performed_at": test.performed_at.isoformat(), "why": one.why}
    if one.found is None:
        return said | {"new": False}
    if one.found.result.version != science.VERSION:
        said_of = f"A worker analysed by version {one.found.result.version} of the method of pulse tests."
        raise Conflict(
            said_of, mend="Install the same version of Beadline on every worker, then start again."
        )
    new = pulse_tests.computed_anew(packing, test, one.found)
    if _same(test, new):
        return said | {"new": False}
    said |= {
        "new": True,
        "changed": _changed(test, new),
        "methods": [f"{row.method} {row.method_version}" for row in (test, new)],
        "verdicts": [test.verdict, new.verdict],
        "largest": _largest(test, new),
    }
    pulse_tests.replace(session, test, new, recomputation_id=recomputation_id, at=at)
    return said


def _same(old: PulseTest, new: PulseTest) -> bool:
    as_stored = json.loads(json.dumps(new.settings))
    by = (old.method, old.method_version, old.settings) == (new.method, new.method_version, as_stored)
    return by and not _changed(old, new)


def _changed(old: PulseTest, new: PulseTest) -> bool:
    numbers = any(
        comparing.numbers_moved(getattr(old, name), getattr(new, name)) for name in ("estimates", "corrected")
    )
    codes = [{doubt["code"] for doubt in row.doubts} for row in (old, new)]
    said = (old.verdict, old.usable, old.withheld.keys()) != (new.verdict, new.usable, new.withheld.keys())
    return numbers or said or codes[0] != codes[1]


def _largest(old: PulseTest, new: PulseTest) -> dict[str, Any] | None:
    """Return the number that moved most, in units of its uncertainty."""
    found = [
        {"metric": name, "before": before, "after": after, "in_u": round(change, 4)}
        for name, after in new.estimates.items()
        if (before := old.estimates.get(name)) is not None
        if comparing.moved(before, after) and (change := comparing.in_u(before, after)) is not None
    ]
    return max(found, key=lambda one: abs(one["in_u"]), default=None)
