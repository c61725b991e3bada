"""Steps of a trace that a step plan does not name, and names of steps that come more often than planned."""

from __future__ import annotations

from collections.abc import Sequence

from beadline.reading import detection
from beadline.reading.steps import FoundTransition, MissingTransition, signal_of
from beadline.reading.trace import Trace
from beadline.reading.wording import counted, shown


def left_over(
    trace: Trace, found: Sequence[FoundTransition | MissingTransition], *, bed_volume_m3: float
) -> tuple[str, ...]:
    """Return a sentence for each step of the planned signals that lies in no window, and for doubled marks.

    Parameters
    ----------
    trace : Trace
    found : sequence of FoundTransition or MissingTransition
        What `find_transitions` found in it.
    bed_volume_m3 : float
        Volume of the packed bed [m^3].
    """
    windows = [
        (one.plan.quantity, one.switch_volume_m3 + one.volume_m3[0], one.switch_volume_m3 + one.volume_m3[-1])
        for one in found
        if isinstance(one, FoundTransition)
    ]
    said = []
    for quantity in dict.fromkeys(one.plan.quantity for one in found):
        signal = signal_of(trace, quantity)
        if signal is None:
            continue
        free = [
            f"{step.direction} at {step.volume_m3 / bed_volume_m3:.2f} CV"
            for step in detection.steps_of(signal, width_m3=0.25 * bed_volume_m3)
            if not any(kind == quantity and first <= step.volume_m3 <= last for kind, first, last in windows)
        ]
        if free:
            steps = counted(len(free), "step")
            said.append(f"{shown(signal.name)} has {steps} in no window of the plan: {', '.join(free[:8])}.")
    return (*said, *_doubled(trace, found))


def _doubled(trace: Trace, found: Sequence[FoundTransition | MissingTransition]) -> list[str]:
    """Return a sentence for each mark that comes more often than the plan asks for it."""
    asked: dict[str, int] = {}
    for one in found:
        if one.plan.mark is not None:
            name = one.plan.mark.strip().lower()
            asked[name] = max(asked.get(name, 0), one.plan.occurrence)
    names = [mark.name.strip().lower() for mark in trace.marks]
    return [
        f"The step {shown(name)} starts {counted(names.count(name), 'time')}; the plan asks for number "
        f"{most} at most, so look whether it was run twice."
        for name, most in asked.items()
        if names.count(name) > most
    ]
