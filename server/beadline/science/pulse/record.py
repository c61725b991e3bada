"""From a recorded signal to one that can be read: finite, rising in volume, free of spikes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray

from beadline.science.estimates import Doubt

Array = NDArray[np.float64]

LEAST_SAMPLES = 20


@dataclass(frozen=True, slots=True, eq=False)
class Record:
    """A cleaned record.

    Attributes
    ----------
    volume_m3, signal : ndarray
        Rising volumes [m3] and the signal.
    doubts : tuple of Doubt
        What had to be cleaned.
    """

    volume_m3: Array
    signal: Array
    doubts: tuple[Doubt, ...]


def clean(volume_m3: ArrayLike, signal: ArrayLike) -> Record:
    """Drop what can't be read and take off single spikes.

    Parameters
    ----------
    volume_m3, signal : array_like
        Volume [m3] and signal, one value a sample.

    Returns
    -------
    Record
        Finite samples in rising order; repeated volumes (flow stopped) are averaged.

    Raises
    ------
    ValueError
        If the arrays aren't one-dimensional, of equal length and real.

    Examples
    --------
    >>> import numpy as np
    >>> volume = np.arange(30.0)
    >>> [doubt.code for doubt in clean(volume, np.where(volume == 9, np.nan, volume)).doubts]
    ['missing_values']
    """
    volume, values = _as_floats(volume_m3, "volume_m3"), _as_floats(signal, "signal")
    if volume.shape != values.shape:
        raise ValueError(f"volume_m3 and signal differ in length: {volume.size} and {values.size}")
    doubts: list[Doubt] = []
    finite = np.isfinite(volume) & np.isfinite(values) & (np.abs(values) < 1e60) & (np.abs(volume) < 1e60)
    if not finite.all():
        said = f"{np.count_nonzero(~finite)} of {finite.size} samples had no value and were left out."
        doubts.append(Doubt("missing_values", said))
    volume, values = volume[finite], values[finite]
    rising = volume >= np.maximum.accumulate(volume) if volume.size else np.ones(0, bool)
    if not rising.all():
        said = f"The volume axis runs backwards at {np.count_nonzero(~rising)} samples; they were left out."
        doubts.append(Doubt("axis_jumps", said))
    volume, values = _merged(volume[rising], values[rising])
    values, spikes = _without_spikes(values)
    if spikes:
        doubts.append(Doubt("spikes_removed", f"{spikes} spiked samples were replaced by their neighbours."))
    return Record(volume, values, tuple(doubts))


def _as_floats(data: ArrayLike, name: str) -> Array:
    try:
        array = np.asarray(data, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise ValueError(f"{name} must hold real numbers") from error
    if array.ndim != 1:
        raise ValueError(f"{name} must have one dimension, got {array.ndim}")
    return array


def _merged(volume: Array, values: Array) -> tuple[Array, Array]:
    """Average the samples that share a volume."""
    unique, where, count = np.unique(volume, return_inverse=True, return_counts=True)
    return unique, np.bincount(where, values, unique.size)[: unique.size] / count


def _without_spikes(values: Array) -> tuple[Array, int]:
    """Replace one or two samples that stand far out of a running median of five.

    The apex of a coarsely sampled peak stands out too, but there the samples around it differ as well.
    """
    if values.size < LEAST_SAMPLES:
        return values, 0
    smooth = scipy.ndimage.median_filter(values, size=5, mode="nearest")
    off = np.abs(values - smooth)
    usual = 1.4826 * float(np.median(off))
    span = float(np.max(smooth) - np.min(smooth))
    suspect = off > max(10 * usual, 0.06 * span)
    if span <= 0 or np.count_nonzero(suspect) > 0.05 * values.size:
        return values, 0
    spiked = [place for place in np.flatnonzero(suspect) if _is_lone(values, smooth, suspect, int(place))]
    cleaned = values.copy()
    cleaned[spiked] = smooth[spiked]
    return cleaned, len(spiked)


def _is_lone(values: Array, smooth: Array, suspect: NDArray[np.bool_], place: int) -> bool:
    """Whether the samples around a suspect one agree with each other."""
    around = np.arange(max(place - 2, 0), min(place + 3, values.size))
    around = around[~suspect[around]]
    spread = np.abs(values[around] - smooth[place])
    return bool(np.all(spread < 0.3 * abs(values[place] - smooth[place])))
