"""Steps of a signal, found without marks."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from beadline.reading.trace import Floats, Signal

_GRID = 2000
_SURE = 7.5  # six standard deviations of a difference of means, times 1.25 as medians are noisier


@dataclass(frozen=True, slots=True)
class DetectedStep:
    """A lasting change of a signal's level.

    Attributes
    ----------
    signal : str
        Name of the signal.
    volume_m3 : float
        Where the signal is half-way between the levels.
    before, after : float
        The levels on either side, in the signal's canonical unit.
    direction : "up" or "down"
    """

    signal: str
    volume_m3: float
    before: float
    after: float
    direction: Literal["up", "down"]


def steps_of(
    signal: Signal, *, width_m3: float | None = None, least: float = 0.05
) -> tuple[DetectedStep, ...]:
    """Return the steps of one signal in the order of volume.

    Parameters
    ----------
    signal : Signal
    width_m3 : float, optional
        Volume over which the levels before and behind are averaged [m^3]; a fiftieth of the trace by default.
        Steps nearer to each other than this are seen as one.
    least : float
        Smallest step, as a fraction of the signal's range (1st to 99th percentile).

    Notes
    -----
    The level behind minus the level before, over a sliding window, is largest in the middle of a front.
    A step is a local extreme of it, above `least` of the range and above six times what noise makes of it.
    """
    known = np.isfinite(signal.values)
    volume, values = signal.volume_m3[known], signal.values[known]
    if len(volume) < 8:
        return ()
    grid = np.linspace(volume[0], volume[-1], _GRID)
    level = np.interp(grid, volume, _despiked(values))
    step = float(grid[1] - grid[0])
    half = int(np.clip(round((width_m3 or (grid[-1] - grid[0]) / 50) / step), 4, _GRID // 6))
    change = _change(level, half)
    low, high = np.percentile(level, [1, 99])
    noise = 1.4826 * float(np.median(np.abs(np.diff(values)))) / np.sqrt(2.0)
    recorded = max(1.0, half * step / float(np.median(np.diff(volume))))  # values in half a window
    threshold = max(least * float(high - low), _SURE * noise * float(np.sqrt(2.0 / recorded)))
    if not high > low or not threshold > 0:
        return ()
    peaks = _extremes(change, half, threshold)
    return tuple(_step(signal.name, grid, level, peak, half) for peak in peaks)


def _despiked(values: Floats) -> Floats:
    """Return a running median of five, which takes bubbles out and leaves fronts alone."""
    padded = np.pad(values, 2, mode="edge")
    out: Floats = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    return out


def _change(level: Floats, half: int) -> Floats:
    """Return the mean of the `half` points behind minus that of the `half` points before each point."""
    padded = np.pad(level, half, mode="edge")
    total = np.concatenate([[0.0], np.cumsum(padded)])
    sums = total[half:] - total[:-half]
    out: Floats = (sums[half : half + len(level)] - sums[: len(level)]) / half
    return out


def _extremes(change: Floats, half: int, threshold: float) -> list[int]:
    """Return the places where the change is largest within its neighbourhood."""
    left = np.flatnonzero(np.abs(change) >= threshold)
    order = left[np.argsort(-np.abs(change[left]), kind="stable")]
    taken: list[int] = []
    for place in order:
        same = [
            one for one in taken if abs(one - place) < 3 * half and (change[one] > 0) == (change[place] > 0)
        ]
        if all(abs(one - place) >= half for one in taken) and not same:
            taken.append(int(place))
    return sorted(taken)


def _step(name: str, grid: Floats, level: Floats, peak: int, half: int) -> DetectedStep:
    first, last = max(0, peak - 2 * half), min(len(grid), peak + 2 * half)
    before = float(np.median(level[first : max(first + 1, peak - half)]))
    after = float(np.median(level[min(last - 1, peak + half) : last]))
    middle = 0.5 * (before + after)
    above = level[first:last] >= middle
    crossings = np.flatnonzero(above[1:] != above[:-1]) + first
    nearest = int(crossings[np.argmin(np.abs(crossings - peak))]) if len(crossings) else peak
    return DetectedStep(name, float(grid[nearest]), before, after, "up" if after > before else "down")
