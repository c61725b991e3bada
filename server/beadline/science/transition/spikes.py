"""Bubbles and spikes: excursions that begin or end abruptly and come back."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from beadline.science.transition import cleaning
from beadline.science.transition.result import Array

_SUDDEN = 0.3  # share of its height by which a spike rises or falls from point to point
_MOST_RETURNS = 60


def despiked(record: cleaning.Record) -> cleaning.Record:
    """Remove bubbles and spikes: points far from the running median.

    First the runs between a jump against the front's direction and the return to the level before
    it; then what stands out from a running median, which leaves a monotone front as it is, whatever
    its width.

    Notes
    -----
    An excursion of up to a fifteenth of the record's points is found, if it is larger than 6 noise
    standard deviations and than 1 % of the range the record covers.
    """
    signal, n = record.signal, record.signal.size
    if n < 15:
        return record
    usual = _usual(signal)
    spike = _returns(signal, usual)
    half = int(np.clip(n // 15, 3, 30))
    bridged, known = signal, np.zeros_like(spike)
    for reach in sorted({3, half}):
        if np.any(spike != known):
            bridged, known = _bridged(signal, spike), spike.copy()
            usual = _usual(bridged)
        spike |= _excursions(bridged, max(6.0 * usual[0], 0.01 * usual[1]), reach)
    if not spike.any() or np.count_nonzero(spike) > n // 4:
        return record
    keep = ~spike
    volume = record.volume_cv[keep]
    return cleaning.Record(
        volume,
        signal[keep],
        record.missing,
        record.merged,
        record.backwards,
        int(np.count_nonzero(spike)),
        record.widest_gap_cv,
        tuple(float(v) for v in record.volume_cv[spike][:200]),
    )


def _bridged(signal: Array, known: NDArray[np.bool_]) -> Array:
    """The signal with straight lines over what is known to be a spike."""
    index = np.arange(signal.size)
    return np.interp(index, index[~known], signal[~known])


def _usual(signal: Array) -> tuple[float, float]:
    """Noise of a point, and the range of all but the extreme values."""
    low, high = np.quantile(signal, [0.02, 0.98])
    return cleaning.point_noise(signal), float(high - low)


def _excursions(bridged: Array, threshold: float, reach: int) -> NDArray[np.bool_]:
    apart = np.abs(bridged - scipy.ndimage.median_filter(bridged, size=2 * reach + 1, mode="nearest"))
    spike: NDArray[np.bool_] = apart > threshold
    if not spike.any():
        return spike
    spike = _abrupt(spike, bridged, apart)
    if spike.any():  # the flanks of an excursion are spoilt too
        spike = (
            scipy.ndimage.binary_dilation(spike, iterations=1 + reach // 4, mask=apart > threshold / 3)
            | spike
        )
        spike = scipy.ndimage.binary_dilation(spike, iterations=1)
    return spike


def _abrupt(spike: NDArray[np.bool_], signal: Array, apart: Array) -> NDArray[np.bool_]:
    """Keep the excursions that begin or end within a point or two; a smooth hump isn't a spike."""
    groups, count = scipy.ndimage.label(spike)
    jump = np.abs(np.diff(signal, prepend=signal[0]))
    jump = np.maximum(jump, np.append(jump[1:], 0.0))  # from either neighbour
    index = np.arange(1, count + 1)
    sudden = scipy.ndimage.maximum(jump, groups, index) > _SUDDEN * scipy.ndimage.maximum(
        apart, groups, index
    )
    kept: NDArray[np.bool_] = np.concatenate(([False], sudden))[groups]
    return kept


def _returns(signal: Array, usual: tuple[float, float]) -> NDArray[np.bool_]:
    """Runs that a jump against the front's direction opens or closes."""
    n = signal.size
    spike: NDArray[np.bool_] = np.zeros(n, dtype=bool)
    edge = max(n // 16, 2)
    rising = cleaning.median(signal[-edge:]) >= cleaning.median(signal[:edge])
    values = signal if rising else -signal
    least = max(8 * usual[0], 0.04 * usual[1])
    slack = least / 4
    falls = np.flatnonzero(np.diff(values) < -least)
    for k in falls[:_MOST_RETURNS]:
        after = np.flatnonzero(values[k + 1 :] >= values[k] - slack)
        before = np.flatnonzero(values[: k + 1] <= values[k + 1] + slack)
        runs = [slice(k + 1, k + 1 + int(j)) for j in after[:1]] + [
            slice(int(j) + 1, k + 1) for j in before[-1:]
        ]
        possible = [run for run in runs if run.stop - run.start <= n // 8]
        fall = float(values[k] - values[k + 1])
        closed = [run for run in possible if _other_jump(values, run, opens_at=k + 1) > fall / 2]
        if possible:
            spike[min(closed or possible, key=lambda run: run.stop - run.start)] = True
    return spike


def _other_jump(values: Array, run: slice, *, opens_at: int) -> float:
    """Rise at the end of a run that isn't the fall it was found by: an excursion is abrupt there too."""
    at = run.stop if run.start == opens_at else run.start
    return float(values[at] - values[at - 1]) if 0 < at < values.size else 0.0
