"""Try a step plan on a trace: what it finds, what it misses, and where its windows lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from sqlalchemy.orm import Session

from beadline import reading
from beadline.features.cycles import queries as cycle_queries
from beadline.features.packings import service as packings
from beadline.features.reading_profiles.schemas import SHOWN
from beadline.features.step_plans.schemas import TriedPlan, TriedTransition
from beadline.features.traces import service as traces
from beadline.kit.errors import Invalid, NotFound
from beadline.reading import FoundTransition, MissingTransition, PlannedTransition

_MOST_POINTS = 1500


@dataclass(frozen=True, slots=True)
class Shown:
    """A trace to try a plan on, and the bed that its column volumes are of."""

    trace: reading.Trace
    bed_volume_m3: float
    of: str


def newest_trace(session: Session, packing_id: int) -> Shown:
    """Return the trace of the newest run of a bed.

    Raises
    ------
    NotFound
        If the bed has no run from a file.
    """
    packing = packings.get(session, packing_id)
    cycle = cycle_queries.last_read(session, packing_id)
    if cycle is None:
        mend = "Choose another bed, or a file."
        raise NotFound("No run of this bed was read from a file.", where="packing", mend=mend)
    trace = traces.content_of(session, cycle.trace_id)
    profile = reading.Profile.from_dict(cycle.profile)
    read = _read(trace.content, trace.filename, profile, packings.bed_of(packing).bed_volume_m3)
    return Shown(read, packings.bed_of(packing).bed_volume_m3, f"{packing.column.name}, cycle {cycle.number}")


def sent_trace(session: Session, packing_id: int, content: bytes, *, filename: str) -> Shown:
    """Return the trace in a file, as one of a bed.

    Raises
    ------
    Invalid
        If the file can't be read.
    """
    packing = packings.get(session, packing_id)
    bed = packings.bed_of(packing)
    return Shown(_read(content, filename, None, bed.bed_volume_m3), bed.bed_volume_m3, filename)


def tried(shown: Shown, plan: Sequence[PlannedTransition]) -> TriedPlan:
    """Return what a plan finds in a trace."""
    found = reading.find_transitions(shown.trace, plan, bed_volume_m3=shown.bed_volume_m3)
    marks = [f"{mark.name} at {mark.volume_m3 / shown.bed_volume_m3:.2f} CV" for mark in shown.trace.marks]
    return TriedPlan(
        of=shown.of,
        transitions=tuple(_said(one, shown.bed_volume_m3) for one in found),
        marks=tuple(marks[:40]),
        left_over=reading.left_over(shown.trace, found, bed_volume_m3=shown.bed_volume_m3),
        chart=_chart(shown, plan, found),
    )


def _read(
    content: bytes, filename: str, profile: reading.Profile | None, bed_volume_m3: float
) -> reading.Trace:
    try:
        return reading.read(content, filename=filename, profile=profile, bed_volume_m3=bed_volume_m3)
    except reading.UnreadableFile as error:
        raise Invalid(error.what, where=error.where, mend=error.mend, code=error.code) from error


def _said(one: FoundTransition | MissingTransition, bed_m3: float) -> TriedTransition:
    if isinstance(one, MissingTransition):
        return TriedTransition(name=one.plan.name, found=False, said=one.why, mend=one.mend, window="")
    first, last = ((one.switch_volume_m3 + one.volume_m3[end]) / bed_m3 for end in (0, -1))
    window = f"{first:.2f} to {last:.2f} CV"
    return TriedTransition(name=one.plan.name, found=True, said=one.how, mend="", window=window)


def _chart(
    shown: Shown, plan: Sequence[PlannedTransition], found: Sequence[FoundTransition | MissingTransition]
) -> dict[str, Any]:
    """Return thinned signals over CV, and each window with its switch and the row that it belongs to."""
    quantities = dict.fromkeys([*(one.quantity for one in plan), "conductivity"])
    signals = [signal for one in quantities if (signal := reading.signal_of(shown.trace, one)) is not None]
    windows = [
        {
            "row": row,
            "name": one.plan.name,
            "switch": one.switch_volume_m3 / shown.bed_volume_m3,
            "from": one.switch_volume_m3 / shown.bed_volume_m3 + one.plan.start_cv,
            "to": one.switch_volume_m3 / shown.bed_volume_m3 + one.plan.end_cv,
        }
        for row, one in enumerate(found)
        if isinstance(one, FoundTransition)
    ]
    return {"signals": [_line(signal, shown.bed_volume_m3) for signal in signals], "windows": windows}


def _line(signal: reading.Signal, bed_m3: float) -> dict[str, Any]:
    """Return a signal that is thinned by taking the lowest and the highest value of each stretch."""
    known = np.flatnonzero(np.isfinite(signal.values))
    stretches = np.array_split(known, max(1, min(len(known), _MOST_POINTS // 2)))
    kept = sorted(
        {
            int(part[at])
            for part in stretches
            for at in (signal.values[part].argmin(), signal.values[part].argmax())
        }
    )
    unit, factor, offset = SHOWN.get(signal.quantity, (signal.unit, 1.0, 0.0))
    return {
        "name": signal.name,
        "unit": unit,
        "cv": (signal.volume_m3[kept] / bed_m3).round(4).tolist(),
        "value": [float(f"{value:.5g}") for value in signal.values[kept] * factor + offset],
    }
