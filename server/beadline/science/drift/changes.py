"""What a change from each cycle on explains of one series, by sums cumulated from its end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Kind = Literal["step", "ramp"]


@dataclass(frozen=True)
class Regressed:
    """Regression of a series on its mean and on a change, for a beginning at each of its cycles.

    Attributes
    ----------
    size : array
        Size of a step, or slope of a ramp, that fits best.
    weight : array
        Squares of each change after whitening and after its mean is taken out.
    whole : float
        Squares that the mean alone leaves.
    """

    size: Floats
    weight: Floats
    whole: float


def whitened(values: Floats, phi: float) -> Floats:
    """Take first-order autocorrelation out of a series.

    Examples
    --------
    >>> whitened(np.array([1.0, 1.0, 1.0]), 0.5).round(3).tolist()
    [0.866, 0.5, 0.5]
    """
    found: Floats = np.concatenate([values[:1] * np.sqrt(1 - phi**2), values[1:] - phi * values[:-1]])
    return found


def later(values: Floats) -> Floats:
    """Sum of all later values at each place.

    Examples
    --------
    >>> later(np.array([1.0, 2.0, 3.0])).tolist()
    [5.0, 3.0, 0.0]
    """
    sums: Floats = values[::-1].cumsum()[::-1] - values
    return sums


def regressed(x: Floats, y: Floats, *, phi: float, kind: Kind, lead: float = 0.0) -> Regressed:
    """Regress a series on its mean and on a change from each cycle on.

    Parameters
    ----------
    x, y : array
        Cycles, and a value each.
    phi : float
        First-order autocorrelation.
    kind : {"step", "ramp"}
        A step is 1 from its cycle on, a ramp from cycle k on is `x - x[k] + lead`.
    lead : float
        What a ramp amounts to in its first cycle, in cycles.

    Notes
    -----
    Generalised least squares. The sums of every beginning come from one pass over the series.

    Examples
    --------
    >>> x = np.arange(8.0)
    >>> found = regressed(x, np.where(x < 5, 1.0, 4.0), phi=0.3, kind="step")
    >>> round(float(found.size[5]), 9)
    3.0
    """
    n, q = len(y), 1 - phi
    x = x - x[0]
    e, c, moving = (whitened(v, phi) for v in (y, np.ones(n), x))
    shift = x - lead if kind == "ramp" else np.zeros(n)
    rise = moving if kind == "ramp" else np.full(n, q)
    own = x - shift if kind == "ramp" else np.ones(n)
    own[0] *= float(np.sqrt(1 - phi**2))
    less, count = q * shift, np.arange(n - 1, -1, -1.0)
    rises = later(rise)
    ge = own * e + later(rise * e) - less * later(e)
    gc = own * c + q * (rises - less * count)
    gg = own * own + later(rise * rise) - 2 * less * rises + less * less * count
    cc, ce = float(c @ c), float(c @ e)
    weight = np.maximum(gg - gc * gc / cc, 1e-12)
    whole = max(float(e @ e) - ce * ce / cc, 1e-18 * n)
    return Regressed((ge - gc * ce / cc) / weight, weight, whole)
