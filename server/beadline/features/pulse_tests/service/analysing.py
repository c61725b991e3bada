"""Read and judge a pulse test's trace."""

from __future__ import annotations

import numpy as np
from sqlalchemy.orm import Session

from beadline import reading
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.pulse_tests.schemas import SHIPPED, AnalysedTest, Standard, TestFacts
from beadline.features.traces import service as traces
from beadline.kit import words
from beadline.kit.errors import Invalid
from beadline.science import pulse
from beadline.store.tables import Packing, PulseTest

# Common practice, no source: a tracer leaves the bed between 0.3 and 1.5 bed volumes after its injection.
LEAST_CV, MOST_CV = 0.3, 100.0
TRACER_UNITS: dict[reading.Quantity, str] = {"conductivity": "mS/cm", "uv": "mAU", "other": "as written"}


def analyse(
    content: bytes,
    *,
    filename: str,
    bed: Bed,
    facts: TestFacts,
    standard: Standard = SHIPPED,
    profile: reading.Profile | None = None,
) -> AnalysedTest:
    """Read and judge a pulse test's trace; touches no database.

    Raises
    ------
    Invalid
        If the file can't be read, holds no tracer signal, or its volume or the injection can't be right.
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
    _refuse_impossible_volume(signal, bed)
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
        settings=standard.settings,
    )
    return AnalysedTest(
        trace.profile,
        (*trace.notes, said),
        result,
        pulse.judge(result, standard.criteria),
        standard.criteria,
        TRACER_UNITS[signal.quantity],
        trace.started,
    )


def _origin(trace: reading.Trace) -> tuple[float, str]:
    """Return where the injection begins [m3 from the trace's start], and how that is known."""
    mark = next((mark for mark in trace.marks if "inject" in mark.name.lower()), None)
    if mark is None:
        return 0.0, "No step is named as the injection, so volume is counted from the trace's start."
    return mark.volume_m3, f"Volume is counted from the step “{mark.name}”, less the column's hold-up volume."


def _refuse_impossible_volume(signal: reading.Signal, bed: Bed) -> None:
    """Refuse a volume that no pulse test of this bed can have: its unit, or the bed, is another one."""
    passed_m3 = float(signal.volume_m3[-1] - signal.volume_m3[0])
    passed_cv = passed_m3 / bed.bed_volume_m3
    if LEAST_CV <= passed_cv <= MOST_CV:
        return
    raise Invalid(
        f"The file's volume is {words.number(passed_m3 * 1e3)} L, which is {words.number(passed_cv)} bed "
        "volumes of this bed; a pulse test takes some 1 to 3.",
        where="file",
        mend="Check the unit of volume or flow in the file, and that the right bed is chosen.",
        code="implausible-volume",
    )


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


def read_again(session: Session, test: PulseTest, packing: Packing) -> AnalysedTest:
    """Read a recorded test's trace again, as it was read, to draw its curve."""
    trace = traces.content_of(session, test.trace_id)
    return analyse(
        trace.content,
        filename=trace.filename,
        bed=packings.bed_of(packing),
        facts=facts_of(test),
        standard=standard_of(test),
        profile=reading.Profile.from_dict(test.profile),
    )


def facts_of(test: PulseTest) -> TestFacts:
    """Return when and how a recorded test was made."""
    return TestFacts(performed_at=test.performed_at, injection_ml=test.injection_ml, tracer=test.tracer)


def standard_of(test: PulseTest) -> Standard:
    """Return how a recorded test was read and judged."""
    return Standard(
        criteria=pulse.Criteria.from_dict(test.criteria), settings=pulse.Settings.from_dict(test.settings)
    )
