"""Read, judge and record pulse tests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime, timedelta

import numpy as np
from sqlalchemy.orm import Session

from beadline import reading
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.pulse_tests import queries
from beadline.features.pulse_tests.schemas import AnalysedTest, TestFacts
from beadline.features.records import service as records
from beadline.features.traces import service as traces
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.science import pulse
from beadline.store.tables import Packing, PulseTest, Trace, User

TRACER_UNITS: dict[reading.Quantity, str] = {"conductivity": "mS/cm", "uv": "mAU", "other": "as written"}


def analyse(
    content: bytes,
    *,
    filename: str,
    bed: Bed,
    facts: TestFacts,
    criteria: pulse.Criteria = pulse.DEFAULT_CRITERIA,
    profile: reading.Profile | None = None,
) -> AnalysedTest:
    """Read and judge a pulse test's trace; touches no database.

    Raises
    ------
    Invalid
        If the file can't be read, holds no tracer signal, or the injection can't be right.
    """
    if not 0 < facts.injection_ml * 1e-6 < bed.bed_volume_m3:
        said = f"An injection of {facts.injection_ml:g} mL can't be right for this bed."
        raise Invalid(said, where="injection_ml", mend="Give the volume of tracer injected in mL.")
    try:
        trace = reading.read(
            content,
            filename=filename,
            profile=profile,
            bed_volume_m3=bed.bed_volume_m3,
            column_area_m2=bed.cross_section_m2,
        )
    except reading.UnreadableFile as error:
        raise Invalid(error.what, where=error.where, mend=error.mend, code=error.code) from error
    signal = _tracer_signal(trace)
    flow = reading.signal_of(trace, "flow")
    origin_m3, said = _origin(trace)
    result = pulse.analyse(
        signal.volume_m3 - origin_m3 - bed.hold_up_m3,
        signal.values,
        bed_volume_m3=bed.bed_volume_m3,
        bed_height_m=bed.bed_height_m,
        bead_diameter_m=bed.bead_diameter_m,
        injection_volume_m3=facts.injection_ml * 1e-6,
        flow_m3_s=None if flow is None else np.interp(signal.volume_m3, flow.volume_m3, flow.values),
    )
    return AnalysedTest(
        trace.profile,
        (*trace.notes, said),
        result,
        pulse.judge(result, criteria),
        TRACER_UNITS[signal.quantity],
        trace.started,
    )


def _origin(trace: reading.Trace) -> tuple[float, str]:
    """Return where the injection begins [m3 from the trace's start], and how that is known."""
    mark = next((mark for mark in trace.marks if "inject" in mark.name.lower()), None)
    if mark is None:
        return 0.0, "No step is named as the injection, so volume is counted from the trace's start."
    return mark.volume_m3, f"Volume is counted from the step “{mark.name}”, less the column's hold-up volume."


def _tracer_signal(trace: reading.Trace) -> reading.Signal:
    """Return the signal whose peak stands out most: the tracer's."""
    found = [s for q in TRACER_UNITS if (s := reading.signal_of(trace, q)) is not None]
    if not found:
        raise Invalid(
            "The file holds neither conductivity nor UV, so there is no tracer peak to read.",
            where="file",
            mend="Export the detector that sees the tracer.",
            code="no-tracer-signal",
        )
    return max(found, key=_prominence)


def _prominence(signal: reading.Signal) -> float:
    values = signal.values[np.isfinite(signal.values)]
    middle = np.median(values)
    noise = float(np.median(np.abs(np.diff(values)))) + 1e-9 * float(np.ptp(values)) + 1e-30
    return float(np.max(np.abs(values - middle))) / noise


def record(
    session: Session,
    *,
    packing: Packing,
    trace: Trace,
    analysed: AnalysedTest,
    facts: TestFacts,
    criteria: pulse.Criteria = pulse.DEFAULT_CRITERIA,
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
    test = drawn_up(packing, analysed, facts, criteria=criteria)
    test.trace_id, test.logged_by_id, test.logged_at = trace.id, by.id, at
    session.add(test)
    session.flush()  # the record needs its id
    said = f"Logged a pulse test of {packing.column.name}, packing {packing.number}: {test.verdict}"
    records.write(session, by=by, at=at, did="log", thing="pulse test", thing_id=test.id, said=said)
    return test


def drawn_up(
    packing: Packing,
    analysed: AnalysedTest,
    facts: TestFacts,
    *,
    criteria: pulse.Criteria = pulse.DEFAULT_CRITERIA,
) -> PulseTest:
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
        criteria=criteria.to_dict(),
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
    analysed = analyse(content, filename=filename, bed=packings.bed_of(packing), facts=facts)
    trace = traces.keep(session, content, filename=filename, by=by, at=at)
    return record(session, packing=packing, trace=trace, analysed=analysed, facts=facts, by=by, at=at)


def read_again(session: Session, test: PulseTest, packing: Packing) -> AnalysedTest:
    """Read a recorded test's trace again, as it was read, to draw its curve."""
    trace = traces.content_of(session, test.trace_id)
    facts = TestFacts(performed_at=test.performed_at, injection_ml=test.injection_ml, tracer=test.tracer)
    return analyse(
        trace.content,
        filename=trace.filename,
        bed=packings.bed_of(packing),
        facts=facts,
        criteria=pulse.Criteria.from_dict(test.criteria),
        profile=reading.Profile.from_dict(test.profile),
    )


def newest_of_column(session: Session, packing: Packing) -> PulseTest | None:
    """Return the newest test of the bed's column, be it of this bed or an earlier one."""
    return queries.newest_of_column(session, packing.column_id)


def of_packing(session: Session, packing: Packing) -> Sequence[PulseTest]:
    """Return a bed's pulse tests, newest first, those that were voided among them."""
    return queries.of_packing(session, packing.id, with_voided=True)


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
