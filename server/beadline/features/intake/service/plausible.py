"""Whether a file's volume can be that of a run on a bed."""

from __future__ import annotations

from beadline import reading
from beadline.features.intake.schemas import Unread
from beadline.features.packings.schemas import Bed
from beadline.kit import words

# Common practice, no source: a cycle takes some 5 to 100 bed volumes, long loads some hundreds.
LEAST_CV = 0.2
MOST_CV = 2000.0
USUAL_CV = (1.0, 500.0)
_SLIPS = (
    (1e-3, "mL", "L"),
    (1e3, "L", "mL"),
    (1e-3, "L", "m³"),
    (1e3, "m³", "L"),
    (1e-3, "mL/min", "L/min"),
    (1e3, "L/min", "mL/min"),
    (1 / 60, "L/h", "L/min"),
    (60.0, "L/min", "L/h"),
)


def refuse_impossible_volume(trace: reading.Trace, bed: Bed) -> None:
    """Refuse a trace that is far too long or too short for a bed, and say which unit seems wrong.

    Raises
    ------
    Unread
        With the draft of how the file was read, so that a person can set the unit.
    """
    spans = [float(one.volume_m3[-1] - one.volume_m3[0]) for one in trace.signals if len(one.volume_m3) > 1]
    passed_cv = max(spans, default=0.0) / bed.bed_volume_m3
    if LEAST_CV <= passed_cv <= MOST_CV or not spans:
        return
    column = _column(trace.profile)
    own = words.number(bed.bed_volume_m3 * 1e3, 3)
    litres = f"{words.number(max(spans) * 1e3, 3)} L"
    error = reading.UnreadableFile(
        f"The file's volume is {litres}, which is {words.number(passed_cv, 3)} bed volumes of this bed "
        f"({own} L); a run takes some 5 to 100. {_slip(column, passed_cv)}",
        where=f"column {column.index + 1} “{column.header}”" if column else "volume",
        mend="Set the unit under “Correct how the file is read”, or mend the header of the file; and check "
        "that the right bed is chosen.",
        code="implausible-volume",
    )
    error.draft = trace.profile
    raise Unread(error)


def _column(profile: reading.Profile) -> reading.ColumnPlan | None:
    """Return the column whose unit the volume hangs on: volume, or the flow that was integrated."""
    if profile.axis == "volume":
        return next((one for one in profile.columns if one.use == "volume"), None)
    return next((one for one in profile.columns if one.use == "signal" and one.quantity == "flow"), None)


def _slip(column: reading.ColumnPlan | None, passed_cv: float) -> str:
    """Name the unit that would make the volume a usual one."""
    if column is None:
        return "A constant flow was taken from the file or its profile; its unit may be wrong."
    low, high = USUAL_CV
    for factor, meant, written in _SLIPS:
        if column.unit == written and low <= passed_cv * factor <= high:
            times = f"{1 / factor:.0f} times too much" if factor < 1 else f"{factor:.0f} times too little"
            return f"That is about {times}: it looks like {meant} labelled as {written}."
    return f"Its unit was read as {column.unit or 'none'}; that may be wrong."
