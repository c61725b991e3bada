"""Read a file by a profile that is not saved yet, and say what comes out."""

from __future__ import annotations

import numpy as np
from sqlalchemy.orm import Session

from beadline import reading
from beadline.features.packings import service as packings
from beadline.features.packings.schemas import Bed
from beadline.features.reading_profiles import queries
from beadline.features.reading_profiles.schemas import SHOWN, Tried, TriedSignal
from beadline.features.traces import service as traces
from beadline.kit import words
from beadline.kit.errors import Invalid

MOST_MARKS = 40


def tried_on_newest(session: Session, name: str, profile: reading.Profile) -> Tried | None:
    """Read the newest file that a version of this name has read; None if there is none.

    Raises
    ------
    Invalid
        If the profile does not read that file.
    """
    newest = next(iter(queries.runs_of(session, name, most=1)), None)
    if newest is None:
        return None
    trace = traces.content_of(session, newest.trace_id)
    bed = packings.bed_of(packings.get(session, newest.packing_id))
    return tried(trace.content, filename=trace.filename, profile=profile, bed=bed)


def tried(content: bytes, *, filename: str, profile: reading.Profile, bed: Bed | None = None) -> Tried:
    """Read a file by a profile.

    Raises
    ------
    Invalid
        If the profile does not read it; the message says what does not fit.
    """
    try:
        trace = reading.read(
            content,
            filename=filename,
            profile=profile,
            bed_volume_m3=bed.bed_volume_m3 if bed else None,
            column_area_m2=bed.cross_section_m2 if bed else None,
        )
    except reading.UnreadableFile as error:
        raise Invalid(error.what, where=error.where, mend=error.mend, code=error.code) from error
    marks = [f"{mark.name} at {words.number(mark.volume_m3 * 1e3, 4)} L" for mark in trace.marks]
    more = [f"and {len(marks) - MOST_MARKS} more"] if len(marks) > MOST_MARKS else []
    return Tried(
        filename=filename,
        signals=tuple(_signal(one) for one in trace.signals),
        marks=tuple(marks[:MOST_MARKS] + more),
        notes=trace.notes,
        started=f"{trace.started.moment:%-d %b %Y %H:%M}" if trace.started else "",
    )


def _signal(signal: reading.Signal) -> TriedSignal:
    unit, factor, offset = SHOWN.get(signal.quantity, (signal.unit, 1.0, 0.0))
    known = signal.values[np.isfinite(signal.values)] * factor + offset
    return TriedSignal(
        name=signal.name,
        quantity=signal.quantity,
        side=signal.role,
        unit=unit,
        points=len(known),
        lowest=words.number(float(known.min()), 4),
        highest=words.number(float(known.max()), 4),
        from_l=words.number(float(signal.volume_m3[0]) * 1e3, 4),
        to_l=words.number(float(signal.volume_m3[-1]) * 1e3, 4),
    )
