"""One step at a time: what to read when the record holds the next step too."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from beadline.science.transition import cleaning
from beadline.science.transition.outline import Outline, outline
from beadline.science.transition.result import Array
from beadline.science.transition.settings import Direction

_LEAST_EXCESS = 0.06
_NEAR = 0.03
_LANDING_CV = 0.35
_LANDING_FROM, _LANDING_TO = 0.25, 0.88  # lower down it may be a by-pass, which must not be cut off
_QUIET = 0.02
_LEAST_LANDING_CV = 0.12
_LEAST_POINTS = 20


def one_step(
    record: cleaning.Record, seen: Outline, *, direction: Direction
) -> tuple[cleaning.Record, Outline, bool]:
    """Cut a record that turns back where it turns, and a staircase at its landing.

    Parameters
    ----------
    record, seen : Record, Outline
        Cleaned record and the first look at it.
    direction : {"up", "down", "either"}
        Which of the two pieces is meant; either: the one with the larger step.

    Returns
    -------
    tuple
        Record, outline, and whether anything was cut off.

    Examples
    --------
    >>> import numpy as np
    >>> v = np.linspace(0, 3, 601)
    >>> up_and_back = np.tanh(20 * (v - 1)) - 0.8 * np.tanh(20 * (v - 2.5))
    >>> record = cleaning.Record(v, up_and_back)
    >>> cut, _, was_cut = one_step(record, outline(record), direction="either")
    >>> was_cut, bool(2.2 < cut.volume_cv[-1] < 2.5)
    (True, True)
    """
    if seen.excess > max(_LEAST_EXCESS, 6 * seen.noise / abs(seen.step) if seen.step else 0.0):
        pieces = _before_and_after_turn(record.volume_cv, seen)
    else:
        pieces = _below_and_above_landing(record.volume_cv, seen)
    found = []
    for piece in pieces:
        part = replace(record, volume_cv=record.volume_cv[piece], signal=record.signal[piece])
        if part.signal.size >= _LEAST_POINTS:
            found.append((part, outline(part)))
    wanted = [(p, o) for p, o in found if direction == "either" or (o.step > 0) == (direction == "up")]
    if not wanted:
        return record, seen, False
    part, look = max(wanted, key=lambda pair: abs(pair[1].step) if np.isfinite(pair[1].excess) else 0.0)
    return (part, look, True) if look.excess <= max(seen.excess, _LEAST_EXCESS) else (record, seen, False)


def _before_and_after_turn(volume_cv: Array, seen: Outline) -> list[slice]:
    """Pieces on either side of the level at which a record turns back."""
    smooth, (low, high) = seen.smooth, sorted((seen.before, seen.after))
    above = float(np.max(smooth)) - high > low - float(np.min(smooth))
    extreme = float(np.max(smooth)) if above else float(np.min(smooth))
    near = np.flatnonzero(np.abs(smooth - extreme) < _NEAR * float(np.ptp(smooth)) + 2 * seen.noise)
    if volume_cv[near[-1]] - volume_cv[near[0]] < _LEAST_LANDING_CV:  # a peak, not a plateau
        return []
    return [slice(0, int(near[-1]) + 1), slice(int(near[0]), smooth.size)]


def _below_and_above_landing(volume_cv: Array, seen: Outline) -> list[slice]:
    """Pieces of a staircase of two steps the same way; none if the record rises in one.

    A landing is long, and higher up than a by-pass would put it.
    """
    if seen.noise >= _QUIET * abs(seen.step):  # also when there is no step
        return []
    fraction = (seen.smooth - seen.before) / seen.step
    later = np.interp(volume_cv + _LANDING_CV, volume_cv, fraction)
    flat = np.abs(later - fraction) < _NEAR + 2 * seen.noise / abs(seen.step)
    on = (
        flat
        & (fraction > _LANDING_FROM)
        & (fraction < _LANDING_TO)
        & (volume_cv + _LANDING_CV < volume_cv[-1])
    )
    if np.count_nonzero(on) < 2:
        return []
    first, last = np.flatnonzero(on)[[0, -1]]
    end = int(np.searchsorted(volume_cv, volume_cv[last] + _LANDING_CV))
    return [slice(0, end), slice(int(first), fraction.size)]
