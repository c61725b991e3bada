"""From a record as it came to points that can be fitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from beadline.science.transition.result import Array

MOST_POINTS = 20_000
_GAP_CV = 0.05
_HELD_WEIGHT = 0.3  # a noise standard deviation over the half width within which a value is held


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """A record in order: finite, rising in volume, one value a volume.

    Attributes
    ----------
    volume_cv, signal : ndarray
        What is left, volume rising strictly.
    missing, merged, backwards, spikes : int
        Points without a value, at a repeated volume, out of order, removed as spikes.
    widest_gap_cv : float
        The widest step between neighbours [CV].
    spike_cv : tuple of float
        Where spikes were removed [CV].
    """

    volume_cv: Array
    signal: Array
    missing: int = 0
    merged: int = 0
    backwards: int = 0
    spikes: int = 0
    widest_gap_cv: float = 0.0
    spike_cv: tuple[float, ...] = ()

    @property
    def jumps(self) -> bool:
        """Whether the volume axis goes back or leaves a gap."""
        usual = median(np.diff(self.volume_cv)) if self.volume_cv.size > 2 else 0.0
        return self.backwards > 0 or self.widest_gap_cv > max(_GAP_CV, 10 * usual)


def in_order(volume_cv: Array, signal: Array, *, window_cv: tuple[float, float]) -> Record:
    """Drop what has no value, sort by volume, merge repeated volumes, cut to the window.

    Examples
    --------
    >>> import numpy as np
    >>> volume, signal = np.array([0.0, 0.1, 0.1, 0.2]), np.array([1.0, 2.0, 4.0, np.nan])
    >>> record = in_order(volume, signal, window_cv=(-1, 4))
    >>> record.signal.tolist(), record.missing, record.merged
    ([1.0, 3.0], 1, 1)
    """
    finite = np.isfinite(volume_cv) & np.isfinite(signal) & (np.abs(signal) < 1e150)
    inside = finite & (volume_cv >= window_cv[0]) & (volume_cv <= window_cv[1])
    volume, values = volume_cv[inside], signal[inside]
    backwards = int(np.count_nonzero(np.diff(volume) < 0))
    if backwards:
        order = np.argsort(volume, kind="stable")
        volume, values = volume[order], values[order]
    merged = 0
    if volume.size and np.any(np.diff(volume) <= 1e-12):
        volume, values, merged = _merge(volume, values)
    gap = float(np.max(np.diff(volume))) if volume.size > 1 else 0.0
    missing = int(volume_cv.size - np.count_nonzero(finite))
    return Record(volume, values, missing, merged, backwards, widest_gap_cv=gap)


def _merge(volume: Array, values: Array) -> tuple[Array, Array, int]:
    first = np.concatenate(([True], np.diff(volume) > 1e-12))
    group = np.cumsum(first) - 1
    count = np.bincount(group)
    return volume[first], np.bincount(group, values) / count, int(volume.size - count.size)


def thinned(record: Record) -> Record:
    """Average neighbours of a record that holds more points than the front can use."""
    if record.volume_cv.size <= MOST_POINTS:
        return record
    group = np.arange(record.volume_cv.size) * MOST_POINTS // record.volume_cv.size
    count = np.bincount(group)
    volume = np.bincount(group, record.volume_cv) / count
    signal = np.bincount(group, record.signal) / count
    return Record(volume, signal, record.missing, record.merged, record.backwards, 0, record.widest_gap_cv)


def median(values: Array) -> float:
    """Middle of a row; without the checks on which numpy's own spends most of its time.

    Examples
    --------
    >>> import numpy as np
    >>> median(np.array([4.0, 1.0, 2.0])), median(np.array([4.0, 1.0, 2.0, 3.0]))
    (2.0, 2.5)
    """
    low, high = (values.size - 1) // 2, values.size // 2
    ordered = np.partition(values, (low, high))
    return 0.5 * float(ordered[low] + ordered[high])


def point_noise(signal: Array) -> float:
    """Noise of one point from second differences, which a smooth front hardly enters.

    Half the median is taken over the non-zero differences, so that held values (a historian's
    compression) don't hide the steps between them.

    Examples
    --------
    >>> import numpy as np
    >>> round(point_noise(np.random.default_rng(1).normal(0.0, 0.2, 4000)), 2)
    0.2
    """
    if signal.size < 5:
        return 0.0
    second = np.abs(signal[2:] - 2 * signal[1:-1] + signal[:-2])
    moved = second[second > 0]
    if moved.size == 0:
        return 0.0
    share = 1.0 if moved.size > 0.6 * second.size else moved.size / second.size
    level = median(second if share == 1.0 else moved) * share
    return float(level / 0.6745 / np.sqrt(6.0))


def holding(signal: Array, *, quantum: float) -> Array | None:
    """Roots of weights for a record whose historian holds a value until the signal has moved enough.

    The first point of each held run was logged when it came; the rest of the run only says that the
    signal stayed near, and together they count as little. None for a record that isn't held, among
    them one that is merely rounded: its values lie on a lattice, and it also moves by the lattice's
    spacing `quantum`, which one that is held back until it has moved further doesn't.

    Examples
    --------
    >>> import numpy as np
    >>> holding(np.repeat([0.0, 0.31, 0.73, 1.0, 1.57], 5), quantum=0.01).round(2)[:6].tolist()
    [1.0, 0.15, 0.15, 0.15, 0.15, 1.0]
    >>> holding(np.repeat([0.0, 0.2, 0.1, 0.2, 0.3, 0.5], 5), quantum=0.1) is None
    True
    """
    steps = np.diff(signal)
    still = steps == 0
    moved = np.flatnonzero(~still)
    if moved.size < 3 or np.mean(still[moved[0] : moved[-1] + 1]) < 0.4:  # flat ends alone prove nothing
        return None
    moves = np.abs(steps[~still])
    multiples = moves / np.min(moves)
    single = np.quantile(moves, 0.1) < 1.5 * quantum
    if single and np.mean(np.abs(multiples - np.round(multiples)) < 0.02) > 0.9 and np.median(multiples) < 20:
        return None
    run = np.concatenate(([0], np.cumsum(~still)))
    length = np.bincount(run)[run]
    first = np.concatenate(([True], ~still))
    return np.where(first, 1.0, _HELD_WEIGHT / np.sqrt(np.maximum(length - 1, 1)))
