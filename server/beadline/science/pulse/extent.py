"""How far a peak reaches, judged on the record itself rather than on a fitted shape."""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from beadline.science.pulse.baseline import Baseline

Array = NDArray[np.float64]

CLEAR = 4.0  # standard deviations of a running mean that can't be noise
GAP = 3.0  # widths at half height that a foot or a tail may lie apart
MORE = 0.15


def standing(signal: Array, *, apex: int, half_widths: tuple[int, int], base: Baseline) -> tuple[int, int]:
    """First and last sample of all that stands out of the noise around an apex.

    Parameters
    ----------
    signal : ndarray
        Signal without baseline.
    apex : int
        Sample of the apex.
    half_widths : tuple of int
        Samples from half height to the apex and back.
    base : Baseline
        What was taken off, with its noise.

    Notes
    -----
    A running mean over half the shorter half width must be above four of its standard deviations, and
    above 1e-5 of the height. The stretch found is lengthened by 15 % of its distance from the apex.
    """
    reach = max(5, min(half_widths) // 2)
    mean = scipy.ndimage.uniform_filter1d(signal, reach, mode="nearest")
    sd = base.noise_sd * np.sqrt((1 + base.correlation) / (1 - base.correlation) / reach)
    clear = np.flatnonzero(mean > max(CLEAR * sd, 1e-5 * float(np.max(mean))))
    apart = max(int(GAP * sum(half_widths)), 1)
    before, after = clear[clear <= apex][::-1], clear[clear >= apex]
    first = _reached(apex, before, apart)
    last = _reached(apex, after, apart)
    start, end = first - MORE * (apex - first), last + MORE * (last - apex)
    return max(int(start), 0), min(int(np.ceil(end)), signal.size - 1)


def _reached(apex: int, outwards: NDArray[np.intp], apart: int) -> int:
    """Farthest sample that is reached without a jump over a longer gap."""
    path = np.concatenate(([apex], outwards))
    jumps = np.flatnonzero(np.abs(np.diff(path)) > apart)
    return int(path[jumps[0]] if jumps.size else path[-1])
