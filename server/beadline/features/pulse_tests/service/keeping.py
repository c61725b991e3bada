"""Record pulse tests, and find them again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from beadline.features.packings import service as packings
from beadline.features.pulse_tests import queries
from beadline.features.pulse_tests.schemas import AnalysedTest, TestFacts
from beadline.features.pulse_tests.service import standard
from beadline.features.pulse_tests.service.analysing import analyse
from beadline.features.records import service as records
from beadline.features.traces import service as traces
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import EarlierPulseResult, Packing, PulseTest, Trace, User


def record(
    session: Session,
    *,
    packing: Packing,
    trace: Trace,
    analysed: AnalysedTest,
    facts: TestFacts,
    by: User,
    at: datetime,
) -> PulseTest:
    """Record a pulse test; one that passes qualifies the bed.

    Raises
    ------
    Invalid
        If it can't have been performed then.
    Conflict
        If the same file is recorded as a pulse test of this bed already.
    """
    _check_time(packing, facts.performed_at, at)
    if queries.logged_from(session, packing.id, trace.sha256):
        raise Conflict(
            "This file is recorded as a pulse test of this bed already.", where="file", code="same-file"
        )
    test = drawn_up(packing, analysed, facts)
    test.trace_id, test.logged_by_id, test.logged_at = trace.id, by.id, at
    session.add(test)
    session.flush()  # the record needs its id
    said = f"Logged a pulse test of {packing.column.name}, packing {packing.number}: {test.verdict}"
    records.write(session, by=by, at=at, did="log", thing="pulse test", thing_id=test.id, said=said)
    return test


def drawn_up(packing: Packing, analysed: AnalysedTest, facts: TestFacts) -> PulseTest:
    """Return what would be recorded of a test; nobody has recorded it yet."""
    result, verdict = analysed.result, analysed.verdict
    return PulseTest(
        packing_id=packing.id,
        performed_at=facts.performed_at,
        tracer=facts.tracer,
        injection_ml=facts.injection_ml,
        profile=analysed.profile.to_dict(),
        method=result.method,
        method_version=result.version,
        settings=asdict(result.settings),
        usable=result.usable,
        estimates={name: [float(e.value), float(e.u)] for name, e in result.estimates.items()},
        corrected={name: [float(e.value), float(e.u)] for name, e in result.corrected.items()},
        withheld=dict(result.withheld),
        doubts=[asdict(doubt) for doubt in result.doubts],
        working=dict(result.working),
        criteria=analysed.criteria.to_dict(),
        verdict=verdict.verdict,
        checks=[asdict(check) for check in verdict.checks],
        void_reason="",
    )


def _check_time(packing: Packing, performed_at: datetime, at: datetime) -> None:
    if performed_at > at + timedelta(minutes=10):
        said = f"The test can't have been performed at {performed_at:%Y-%m-%d %H:%M}: that is still to come."
        raise Invalid(said, where="performed_at", mend="Give the time at which the tracer was injected.")
    if performed_at < packing.packed_at - timedelta(days=1):
        said = f"The bed was packed on {packing.packed_at:%Y-%m-%d}, after this test."
        raise Invalid(said, where="performed_at", mend="Check the time, and that it is a test of this bed.")


def log(
    session: Session,
    *,
    packing: Packing,
    content: bytes,
    filename: str,
    facts: TestFacts,
    by: User,
    at: datetime,
) -> PulseTest:
    """Read, judge and record a pulse test's file."""
    chosen = standard.present(session)
    analysed = analyse(content, filename=filename, bed=packings.bed_of(packing), facts=facts, standard=chosen)
    trace = traces.keep(session, content, filename=filename, by=by, at=at)
    return record(session, packing=packing, trace=trace, analysed=analysed, facts=facts, by=by, at=at)


def newest_of_column(session: Session, packing: Packing) -> PulseTest | None:
    """Return the newest test of the bed's column, be it of this bed or an earlier one."""
    return queries.newest_of_column(session, packing.column_id)


def of_packing(session: Session, packing: Packing) -> Sequence[PulseTest]:
    """Return a bed's pulse tests, newest first, those that were voided among them."""
    return queries.of_packing(session, packing.id, with_voided=True)


def earlier(session: Session, test: PulseTest) -> Sequence[EarlierPulseResult]:
    """Return the results that counted before the present one, the newest first."""
    return queries.earlier(session, test.id)


def void(session: Session, test: PulseTest, *, reason: str, by: User, at: datetime) -> None:
    """Take a test out of what qualifies its bed; it stays in the record.

    Raises
    ------
    Invalid
        If no reason is given.
    Conflict
        If it was voided before.
    """
    if not reason.strip():
        raise Invalid("A reason is missing.", where="reason", mend="Say why this test must not count.")
    if test.voided_at is not None:
        raise Conflict("This test was voided before.", mend="Load the page again.")
    test.voided_at, test.void_reason = at, reason.strip()
    said = f"Voided a pulse test of {test.performed_at:%Y-%m-%d}"
    records.write(
        session, by=by, at=at, did="void", thing="pulse test", thing_id=test.id, said=said, why=reason.strip()
    )


def get(session: Session, test_id: int) -> PulseTest:
    """Return a pulse test.

    Raises
    ------
    NotFound
        If there is none.
    """
    test = queries.by_id(session, test_id)
    if test is None:
        raise NotFound(f"There is no pulse test with the id {test_id}.", mend="Open it from its column.")
    return test
