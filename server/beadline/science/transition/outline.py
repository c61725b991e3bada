"""A first look at a record: where the step is, how high, how wide, how noisy."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from beadline.science.transition import cleaning
from beadline.science.transition.result import Array

_LEVELS = (0.05, 0.1587, 0.25, 0.5, 0.75, 0.8413, 0.95)


@dataclass(frozen=True, slots=True, eq=False)
class Outline:
    """Robust starting values, good to a few per cent.

    Attributes
    ----------
    before, after : float
        Median level at the start and at the end of the record [signal].
    noise : float
        Standard deviation of one point [signal], at least what the signal's own steps allow.
    quantum : float
        The smallest step the signal takes, where it takes few values; else 0 [signal].
    crossings_cv : ndarray [7]
        Where the smoothed signal passes 5, 16, 25, 50, 75, 84 and 95 % of the step.
    excess : float
        How far the smoothed signal leaves the range of its two ends, as a share of the step.
    smooth : ndarray
        The smoothed signal.
    """

    before: float
    after: float
    noise: float
    quantum: float
    crossings_cv: Array
    excess: float
    smooth: Array

    @property
    def step(self) -> float:
        """Height of the step with its sign [signal]."""
        return self.after - self.before

    @property
    def mid_cv(self) -> float:
        """Volume of half the step [CV]."""
        return float(self.crossings_cv[3])

    @property
    def spread_cv(self) -> float:
        """Standard deviation of the steep part, from the quartiles [CV]."""
        return float(self.crossings_cv[4] - self.crossings_cv[2]) / 1.349


def outline(record: cleaning.Record) -> Outline:
    """Look at a cleaned record of at least 5 points.

    Examples
    --------
    >>> import numpy as np
    >>> from scipy.special import ndtr
    >>> v = np.linspace(0, 2, 401)
    >>> seen = outline(cleaning.Record(v, 2 + 8 * ndtr((v - 1) / 0.05)))
    >>> round(seen.mid_cv, 3), round(seen.spread_cv, 3), round(seen.step, 3)
    (1.0, 0.05, 8.0)
    """
    volume, signal = record.volume_cv, record.signal
    edge = int(np.clip(signal.size // 16, 2, 200))
    before, after = cleaning.median(signal[:edge]), cleaning.median(signal[-edge:])
    quantum = quantum_of(signal)
    noise = max(cleaning.point_noise(signal), quantum / np.sqrt(12.0))
    step = after - before
    reach = int(np.clip(signal.size // 60, 1, 12))
    smooth = scipy.ndimage.median_filter(signal, size=2 * reach + 1, mode="nearest")
    if step == 0:
        middle = np.full(len(_LEVELS), float(np.median(volume)))
        return Outline(before, after, noise, quantum, middle, np.inf if np.ptp(smooth) > 0 else 0.0, smooth)
    fraction = (smooth - before) / step
    excess = max(
        float(np.max(fraction)) - float(np.max(fraction[-edge:])),
        float(np.min(fraction[:edge])) - float(np.min(fraction)),
        0.0,
    )
    return Outline(before, after, noise, quantum, _crossings(volume, fraction), excess, smooth)


def _crossings(volume: Array, fraction: Array) -> Array:
    rising = np.maximum.accumulate(fraction)
    falling = np.minimum.accumulate(fraction[::-1])[::-1]
    middle = np.clip(0.5 * (rising + falling), 0.0, 1.0)
    middle = middle + np.linspace(0.0, 1e-9, middle.size)
    return np.interp(_LEVELS, middle, volume)


def quantum_of(signal: Array) -> float:
    """Smallest step of a signal that takes few values; 0 for one that doesn't.

    Examples
    --------
    >>> import numpy as np
    >>> round(quantum_of(np.round(np.linspace(0, 1, 500), 1)), 9)
    0.1
    """
    values = np.unique(signal)
    if values.size < 2 or values.size > 0.5 * signal.size:
        return 0.0
    steps = np.diff(values)
    return float(np.min(steps[steps > 1e-9 * (values[-1] - values[0])], initial=np.inf))
