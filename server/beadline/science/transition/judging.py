"""What weakens a reading, in named doubts with a sentence each."""

from __future__ import annotations

import numpy as np

from beadline.science.estimates import Doubt
from beadline.science.transition import cleaning
from beadline.science.transition.outline import Outline
from beadline.science.transition.result import Array
from beadline.science.transition.settings import Settings

#: Doubts that keep a result off the charts.
UNUSABLE = frozenset(
    {
        "not_a_step",
        "step_too_small",
        "plateau_not_reached",
        "plateau_before_missing",
        "clipped",
        "too_few_points",
        "retained",
        "self_sharpening",
        "wrong_direction",
        "not_fitted",
    }
)

LEAST_POINTS = 15


def of_record(record: cleaning.Record) -> list[Doubt]:
    """What cleaning had to do."""
    found = []
    if record.missing:
        found.append(Doubt("missing_values", f"{record.missing} points have no value; they were left out."))
    if record.spikes:
        near = f" near {record.spike_cv[0]:.2f} CV" if record.spike_cv else ""
        found.append(
            Doubt(
                "spike_removed",
                f"{record.spikes} points stand out like a bubble or a spike{near}; "
                "they were left out. Look for air in the line.",
            )
        )
    if record.volume_cv.size > 1 and record.jumps:
        found.append(
            Doubt("axis_jumps", "The volume axis goes back or leaves a gap; check the record and the flow.")
        )
    return found


def too_few(record: cleaning.Record) -> Doubt:
    """Say that there is too little to look at."""
    return Doubt(
        "too_few_points",
        f"The window holds {record.volume_cv.size} points with a value; at least {LEAST_POINTS} are needed.",
    )


def of_outline(record: cleaning.Record, seen: Outline, settings: Settings, *, cut: bool) -> list[Doubt]:
    """Whether there is one step of sufficient size in the expected direction."""
    if seen.excess > 0.5:
        return [Doubt("not_a_step", "The signal doesn't go from one level to another; check the window.")]
    if abs(seen.step) < settings.least_step_to_noise * seen.noise or seen.step == 0:
        return [
            Doubt(
                "step_too_small",
                "The signal hardly changes compared with its noise; check the signal and the window.",
            )
        ]
    found = []
    if cut:
        found.append(
            Doubt(
                "other_step_cut",
                "The window held another step; only the piece up to where the "
                "signal turns was read. Narrow the window.",
            )
        )
    if seen.excess > max(0.03, 5 * seen.noise / abs(seen.step)):
        found.append(
            Doubt(
                "non_monotone",
                "The signal leaves the range between its two levels; "
                "another step or a disturbance may lie in the window.",
            )
        )
    went = "up" if seen.step > 0 else "down"
    if settings.direction not in ("either", went):
        found.append(
            Doubt("wrong_direction", f"The signal goes {went}, the step plan expects {settings.direction}.")
        )
    if clipped(record.signal, seen.quantum):
        found.append(
            Doubt(
                "clipped",
                "The signal stops abruptly at a fixed value as if cut off; check the detector's range.",
            )
        )
    return found


def clipped(signal: Array, quantum: float) -> bool:
    """Whether a front runs at full slope into a value it then never leaves.

    Examples
    --------
    >>> import numpy as np
    >>> v = np.linspace(0, 1, 200)
    >>> clipped(np.clip(np.tanh(20 * (v - 0.5)), -1.0, 0.5), 0.0), clipped(np.tanh(20 * (v - 0.5)), 0.0)
    (True, False)
    """
    for values in (signal, -signal):
        top, size = float(np.max(values)), float(np.ptp(values))
        at_top = np.flatnonzero(values >= top - 1e-9 * size)
        if size == 0 or at_top.size < max(5, signal.size // 50) or np.any(np.diff(at_top) > 1):
            continue
        for near in (at_top[0], signal.size - 1 - at_top[-1]):
            row = values if near == at_top[0] else values[::-1]
            if near < 3:
                continue
            last = row[near] - row[near - 2]
            steepest = float(np.max(row[2:] - row[:-2]))
            if np.count_nonzero(np.abs(row - np.median(row[[0, -1]])) < 0.4 * size) < 8:
                continue
            if last > 0.25 * steepest and last > max(3 * quantum, 0.02 * size):
                return True
    return False
