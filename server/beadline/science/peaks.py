"""Maxima of a record, and how far each stands out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Maxima:
    """Places of maxima, in order, and their prominences [unit of the record]."""

    places: NDArray[np.intp]
    prominences: Array


def maxima(values: Array, *, prominence: float) -> Maxima:
    """Find the maxima that stand out.

    Parameters
    ----------
    values : ndarray [n]
        The record; finite.
    prominence : float
        Least prominence [unit of the record].

    Returns
    -------
    Maxima
        A flat top counts once, at its middle; the ends of the record are no maxima.

    Notes
    -----
    The prominence of a maximum is its height over the higher one of the lowest points between it and
    higher ground, or the end of the record, on either side.

    Examples
    --------
    >>> import numpy as np
    >>> found = maxima(np.array([0.0, 3.0, 2.0, 5.0, 0.0]), prominence=1.0)
    >>> found.places.tolist(), found.prominences.tolist()
    ([1, 3], [1.0, 5.0])
    """
    places = _tops(values)
    places = places[values[places] - values.min() >= prominence]  # no ripple low down needs a closer look
    found = np.array([_prominence(values, int(place)) for place in places], dtype=np.float64)
    return Maxima(places[found >= prominence], found[found >= prominence])


def _tops(values: Array) -> NDArray[np.intp]:
    """Middle of each run of equal values that is higher than the runs beside it."""
    last = np.append(np.flatnonzero(np.diff(values)), values.size - 1)
    first = np.append(0, last[:-1] + 1)
    rises = np.diff(values[first]) > 0
    top = np.flatnonzero(rises[:-1] & ~rises[1:]) + 1
    return np.asarray((first[top] + last[top]) // 2)


def _prominence(values: Array, place: int) -> float:
    top = values[place]
    higher = np.flatnonzero(values > top)
    after = int(np.searchsorted(higher, place))
    first = higher[after - 1] if after else 0
    last = higher[after] if after < higher.size else values.size
    return float(top - max(values[first : place + 1].min(), values[place:last].min()))
