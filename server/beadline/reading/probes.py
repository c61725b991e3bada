"""Several columns of conductivity: which of them is the probe behind the column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from beadline.reading import detection
from beadline.reading.detection import DetectedStep
from beadline.reading.profile import ColumnPlan
from beadline.reading.trace import Signal, Trace
from beadline.reading.wording import shown

_LEAST_LAG = 5.0  # sampling intervals by which a front must come later behind the column
_Side = Literal["pre", "post"]


def told_apart(trace: Trace) -> Trace:
    """Return a trace with the sides of its conductivity probes, as far as their fronts tell them.

    Notes
    -----
    A front reaches the probe behind the column after the one before it. A probe that shows no step where
    another shows some belongs to something else. Where neither tells, a note says which column is used.
    """
    found = [signal for signal in trace.signals if signal.quantity == "conductivity"]
    if len(found) < 2 or any(signal.role for signal in found):
        return trace
    steps = {signal.name: detection.steps_of(signal) for signal in found}
    alive = [signal for signal in found if steps[signal.name]]
    if len(alive) == 1:
        said = f"{_listed(found)} are conductivity; {shown(alive[0].name)} is used, as it alone shows steps."
        return _with_sides(trace, {alive[0].name: "post"}, said)
    order = sorted(alive, key=lambda signal: steps[signal.name][0].volume_m3)
    if len(alive) > 1 and _follows(order[0], order[-1], steps[order[0].name], steps[order[-1].name]):
        first, last = order[0].name, order[-1].name
        said = (
            f"{shown(last)} is taken as the conductivity behind the column and {shown(first)} as that "
            "before it, because every step comes later there; if that is wrong, set the side of each in the "
            "reading profile."
        )
        return _with_sides(trace, {first: "pre", last: "post"}, said)
    said = (
        f"{_listed(found)} are conductivity, and nothing tells which is behind the column; "
        f"{shown(found[0].name)} is used. If another is meant, set the side of each in the reading profile."
    )
    return replace(trace, notes=(*trace.notes, said))


def _follows(
    before: Signal, behind: Signal, early: Sequence[DetectedStep], late: Sequence[DetectedStep]
) -> bool:
    """Tell whether each step of one probe comes clearly later at the other, in the same direction."""
    if len(early) != len(late) or [one.direction for one in early] != [one.direction for one in late]:
        return False
    interval = float(np.median(np.diff(behind.volume_m3)))
    lags = [b.volume_m3 - a.volume_m3 for a, b in zip(early, late, strict=True)]
    return before is not behind and min(lags) > _LEAST_LAG * interval


def _listed(signals: Sequence[Signal]) -> str:
    names = [shown(signal.name) for signal in signals]
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _with_sides(trace: Trace, sides: dict[str, _Side], said: str) -> Trace:
    signals = tuple(replace(signal, role=sides.get(signal.name, signal.role)) for signal in trace.signals)
    columns = tuple(
        replace(plan, role=sides[name]) if (name := _name(plan, trace.profile.columns)) in sides else plan
        for plan in trace.profile.columns
    )
    profile = replace(trace.profile, columns=columns)
    return replace(trace, signals=signals, profile=profile, notes=(*trace.notes, said))


def _name(plan: ColumnPlan, columns: Sequence[ColumnPlan]) -> str:
    """Return the name that the column's signal bears: a header that comes again gets a number."""
    if plan.use != "signal":
        return ""
    same = [one.index for one in columns if one.use == "signal" and one.header == plan.header]
    place = same.index(plan.index) + 1
    return plan.header if place == 1 else f"{plan.header} ({place})"
