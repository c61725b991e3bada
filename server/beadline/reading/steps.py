"""The transitions of a cycle, cut out of its trace."""

from __future__ import annotations

import fnmatch
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from beadline.reading import detection
from beadline.reading.detection import DetectedStep
from beadline.reading.trace import Floats, Mark, Quantity, Signal, Trace
from beadline.reading.wording import counted, shown

Direction = Literal["up", "down", "either"]
_FEWEST = 10  # points in a window
_WITHOUT_MARK_CV = 1.0  # where a front's middle is put if nothing says where the switch was


@dataclass(frozen=True, slots=True)
class PlannedTransition:
    """A transition that a step plan asks for.

    Attributes
    ----------
    name : str
    quantity : Quantity
        The signal that shows it.
    mark : str or None
        Name of the step that opens it; case does not matter, `*` and `?` stand for any letters.
    occurrence : int
        Which of the steps of that name, from 1.
    start_cv, end_cv : float
        Window around the switch, in column volumes.
    direction : "up", "down" or "either"
    volume_cv : float or None
        Where the switch is, from the trace's start, if there is no mark.
    """

    name: str
    quantity: Quantity
    mark: str | None = None
    occurrence: int = 1
    start_cv: float = -0.2
    end_cv: float = 2.0
    direction: Direction = "either"
    volume_cv: float | None = None

    def __post_init__(self) -> None:
        if not self.end_cv > self.start_cv:
            raise ValueError(
                f"the window of {self.name} ends at {self.end_cv} CV, before it starts at {self.start_cv} CV"
            )
        if self.occurrence < 1:
            raise ValueError(f"the occurrence of {self.name} is {self.occurrence}; the first one is 1")


@dataclass(frozen=True, slots=True)
class FoundTransition:
    """A transition in a trace: volume from the switch on [m^3], values in the canonical unit, no gaps."""

    plan: PlannedTransition
    switch_volume_m3: float
    volume_m3: Floats
    values: Floats
    how: str


@dataclass(frozen=True, slots=True)
class MissingTransition:
    """A transition that the trace does not hold, why, and how to mend it."""

    plan: PlannedTransition
    why: str
    mend: str


def find_transitions(
    trace: Trace, plan: Sequence[PlannedTransition], *, bed_volume_m3: float
) -> tuple[FoundTransition | MissingTransition, ...]:
    """Find each planned transition in a trace.

    Parameters
    ----------
    trace : Trace
    plan : sequence of PlannedTransition
    bed_volume_m3 : float
        Volume of the packed bed [m^3]; above 0.

    Returns
    -------
    tuple of FoundTransition or MissingTransition
        In the order of the plan.

    Raises
    ------
    ValueError
        If the bed volume is not above 0.
    """
    if not bed_volume_m3 > 0:
        raise ValueError(f"bed_volume_m3 is {bed_volume_m3}; it must be above 0")
    return tuple(_find(trace, one, bed_volume_m3) for one in plan)


def detect_steps(
    trace: Trace, *, quantity: Quantity = "conductivity", width_m3: float | None = None
) -> tuple[DetectedStep, ...]:
    """Return the steps of a signal, for files without marks; empty if there is no such signal."""
    signal = signal_of(trace, quantity)
    return detection.steps_of(signal, width_m3=width_m3) if signal is not None else ()


def signal_of(trace: Trace, quantity: Quantity) -> Signal | None:
    """Return the signal of a quantity; of several the one behind the column, else the first."""
    order = {"post": 0, "": 1, "delta": 2, "pre": 3}
    return min(
        (one for one in trace.signals if one.quantity == quantity),
        key=lambda one: order[one.role],
        default=None,
    )


def _find(trace: Trace, plan: PlannedTransition, bed_m3: float) -> FoundTransition | MissingTransition:
    signal = signal_of(trace, plan.quantity)
    if signal is None:
        has = ", ".join(sorted({one.quantity for one in trace.signals}))
        return MissingTransition(
            plan,
            f"The trace has no {plan.quantity} signal; it has {has}.",
            "Export that signal, or plan another one.",
        )
    placed = _switch(trace, plan, signal, bed_m3)
    return placed if isinstance(placed, MissingTransition) else _cut(plan, signal, *placed, bed_m3)


def _switch(
    trace: Trace, plan: PlannedTransition, signal: Signal, bed_m3: float
) -> tuple[float, str] | MissingTransition:
    """Return where the switch is and how that is known."""
    if plan.mark is not None:
        return _by_mark(trace, plan, bed_m3)
    steps = [
        step
        for step in detection.steps_of(signal, width_m3=0.25 * bed_m3)
        if plan.direction in ("either", step.direction)
    ]
    if plan.volume_cv is not None:
        return _by_volume(plan, signal, steps, bed_m3)
    if len(steps) < plan.occurrence:
        return MissingTransition(
            plan,
            f"{shown(signal.name)} shows {counted(len(steps), 'step')} {_way(plan)}; the "
            f"plan asks for number {plan.occurrence}.",
            "Look at the trace, and drag the window to the transition or correct the plan.",
        )
    return _before_front(
        steps[plan.occurrence - 1], bed_m3, f"found as step {plan.occurrence} of {shown(signal.name)}"
    )


def _by_mark(trace: Trace, plan: PlannedTransition, bed_m3: float) -> tuple[float, str] | MissingTransition:
    wanted = str(plan.mark).strip().lower()
    same = [mark for mark in trace.marks if _matches(mark, wanted)]
    if len(same) >= plan.occurrence:
        mark = same[plan.occurrence - 1]
        how = f"The step {shown(mark.name)} starts at {mark.volume_m3 / bed_m3:.2f} CV."
        if len(same) > 1:
            at = ", ".join(f"{one.volume_m3 / bed_m3:.2f}" for one in same[:6])
            how += (
                f" It starts {len(same)} times (at {at} CV) and number "
                f"{plan.occurrence} was taken; if another is meant, "
                "change the plan's occurrence."
            )
        return mark.volume_m3, how
    if not trace.marks:
        return MissingTransition(
            plan,
            f"The trace has no step marks, so {shown(wanted)} can't be found.",
            "Export the phase column or the event log, or plan the transition by volume instead of by mark.",
        )
    if same:
        why = (
            f"The step {shown(same[0].name)} starts {counted(len(same), 'time')}; the "
            f"plan asks for number {plan.occurrence}."
        )
        return MissingTransition(
            plan, why, "Check whether the run was cut short, or correct the plan's occurrence."
        )
    names = ", ".join(shown(name) for name in list(dict.fromkeys(mark.name for mark in trace.marks))[:12])
    return MissingTransition(
        plan,
        f"No step is named {shown(str(plan.mark))}; the trace has {names}.",
        "Correct the step's name in the plan.",
    )


def _matches(mark: Mark, wanted: str) -> bool:
    name = " ".join(mark.name.lower().split())
    return name == wanted or fnmatch.fnmatchcase(name, wanted)


def _by_volume(
    plan: PlannedTransition, signal: Signal, steps: list[DetectedStep], bed_m3: float
) -> tuple[float, str] | MissingTransition:
    """Take the planned volume if a front follows it within the window; else the nearest front within 2 CV."""
    planned = float(plan.volume_cv or 0.0) * bed_m3
    inside = [step for step in steps if 0 <= (step.volume_m3 - planned) / bed_m3 <= plan.end_cv]
    if inside:
        front = (inside[0].volume_m3 - planned) / bed_m3
        return planned, f"Planned at {plan.volume_cv:.2f} CV; the front is half-way {front:.2f} CV later."
    near = [step for step in steps if abs(step.volume_m3 - planned) <= (plan.end_cv + 2.0) * bed_m3]
    if not near:
        return MissingTransition(
            plan,
            f"{shown(signal.name)} has no step {_way(plan)} near {plan.volume_cv:.2f} CV.",
            "Look at the trace, and drag the window to the transition or correct the plan.",
        )
    nearest = min(near, key=lambda step: abs(step.volume_m3 - planned))
    return _before_front(nearest, bed_m3, f"planned at {plan.volume_cv:.2f} CV, but the front is elsewhere")


def _before_front(step: DetectedStep, bed_m3: float, how: str) -> tuple[float, str]:
    """Put the switch one column volume before the front, as its true place is not known."""
    said = (
        f"{how[0].upper()}{how[1:]}, half-way at {step.volume_m3 / bed_m3:.2f} CV; "
        "nothing marks the switch, so it is put "
        f"{_WITHOUT_MARK_CV:.0f} CV before that, and the retention of this transition means nothing."
    )
    return step.volume_m3 - _WITHOUT_MARK_CV * bed_m3, said


def _way(plan: PlannedTransition) -> str:
    return "up or down" if plan.direction == "either" else plan.direction


def _cut(
    plan: PlannedTransition, signal: Signal, switch: float, how: str, bed_m3: float
) -> FoundTransition | MissingTransition:
    """Cut the window out, if the trace reaches far enough and the signal moves the planned way."""
    volume = signal.volume_m3 - switch
    inside = (volume >= plan.start_cv * bed_m3) & (volume <= plan.end_cv * bed_m3)
    kept = inside & np.isfinite(signal.values)
    reach_cv = float(signal.volume_m3[-1] - switch) / bed_m3
    if reach_cv < 0.5 * plan.end_cv:
        why = f"The trace ends {reach_cv:.2f} CV after the switch; the window runs to {plan.end_cv:.2f} CV."
        return MissingTransition(plan, why, "Export the whole cycle, or check the bed volume.")
    if int(kept.sum()) < _FEWEST:
        why = (
            f"The window holds {int(kept.sum())} values of "
            f"{shown(signal.name)}; {_FEWEST} are needed at least."
        )
        return MissingTransition(
            plan, why, "Export with a shorter logging interval, or check the bed volume."
        )
    if (wrong := _wrong_way(plan, signal, volume[kept], signal.values[kept])) is not None:
        return wrong
    if reach_cv < plan.end_cv:
        how += f" The trace ends {reach_cv:.2f} CV after it, before the window does."
    if gaps := int(inside.sum() - kept.sum()):
        how += f" {gaps} gaps in the window were left out."
    return FoundTransition(plan, switch, volume[kept], signal.values[kept], how)


def _wrong_way(
    plan: PlannedTransition, signal: Signal, volume: Floats, values: Floats
) -> MissingTransition | None:
    """Return what is wrong if the signal stays level or clearly moves against the plan."""
    count = max(3, len(values) // 12)
    change = float(np.median(values[-count:]) - np.median(values[:count]))
    span = float(np.ptp(values))
    if span == 0:
        why = f"{shown(signal.name)} stays at {values[0]:g} throughout the window."
        return MissingTransition(
            plan, why, "Check the switch and the probe, or plan the transition on another signal."
        )
    moved = "up" if change > 0 else "down"
    if plan.direction != "either" and moved != plan.direction and abs(change) > 0.3 * span:
        why = f"{shown(signal.name)} goes {moved} in the window; the plan expects it to go {plan.direction}."
        return MissingTransition(
            plan, why, "Check that the right step was found, or correct the plan's direction."
        )
    return None
