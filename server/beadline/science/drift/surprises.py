"""How far each cycle lies from what the cycle before predicted, under each autocorrelation, and sums of that.

Values are standardised by the baseline. Surprises are whole thousandths, so that sums of them are the same in
whatever order they are formed. A cycle counts for no more than 3.5 standard deviations of what was predicted,
and predicts the next one as if it lay no further out than that, so that an odd cycle counts as one odd cycle.
One that is as far out on the same side as the cycle before is no odd one, and counts for up to twice as much.
Thus a surprise rests on two values alone, and those of a whole life are found at once.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift.onset import CAP_SD

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
MILLI = 1000.0
_MORE_IF_AGAIN = 2.0
# Cycles to make room for at a time.
_SPARE = 64


@dataclass(frozen=True)
class Sums:
    """Sums over the cycles before some of them: a row each [rows, phi, series].

    Attributes
    ----------
    row : array of int
        Row of each cycle counted from 0; of no meaning for cycles that were not asked for.
    plain, tilted, squared : array
        Sums of the surprises, of cycle number times surprise, and of their squares.
    steps, ramps : array
        What the surprises before are to a step and to a ramp that begins with the cycle.
    """

    row: Ints
    plain: Floats
    tilted: Floats
    squared: Floats
    steps: Floats
    ramps: Floats


@dataclass
class _Rows:
    """A table whose first rows are filled; twins share them until the second one goes on."""

    table: Floats
    filled: int = 0

    def with_room(self, first: int, after: int) -> _Rows:
        """Rows to write on from `first`, with one to spare: a copy where a twin has written already."""
        rows = self
        if self.filled != first or after >= len(self.table):
            rows = _Rows(np.zeros((after + _SPARE, *self.table.shape[1:])))
            rows.table[:first] = self.table[:first]
        rows.filled = after
        return rows


class Surprises:
    """The surprises of many series, one value of each a cycle.

    Parameters
    ----------
    n_series : int
        Number of series.
    phi : array
        The autocorrelations considered [phi, 1].

    Examples
    --------
    >>> seen = Surprises(1, np.array([[0.5]]))
    >>> seen.extend(np.array([[0.0], [1.0], [1.0], [np.nan]]))
    >>> seen.of(4)[:, 0, 0].tolist()
    [0.0, 1000.0, 500.0, 0.0]
    """

    def __init__(self, n_series: int, phi: Floats) -> None:
        self.phi = phi
        self.innovation_sd = np.sqrt(1 - phi**2)
        self.n = 0
        self._rows = _Rows(np.zeros((0, len(phi), n_series)))
        # The last value of each series, and how many cycles ago it is to the next one.
        self._held, self._gap = np.zeros(n_series), np.ones(n_series, int)

    def of(self, n: int) -> Floats:
        """The first `n` cycles [cycles, phi, series]."""
        return self._rows.table[:n]

    def extend(self, rows: Floats) -> None:
        """Add cycles one after another [cycles, series]; a missing value counts as what was expected."""
        first, self.n = self.n, self.n + len(rows)
        self._rows = self._rows.with_room(first, self.n)
        e, missing = self._rows.table[first : self.n], np.isnan(rows)
        again = self._expect(rows, missing, out=e)
        np.subtract((rows * MILLI)[:, None], e, out=e)
        if first == 0:
            e[0] *= self.innovation_sd
        limit = CAP_SD * MILLI * self.innovation_sd
        if again.any():
            limit = limit * np.where(again, _MORE_IF_AGAIN, 1.0)[:, None]
        np.rint(np.minimum(np.maximum(e, -limit, out=e), limit, out=e), out=e)
        if missing.any():
            np.nan_to_num(e, copy=False)

    def before(self, cycles: Ints) -> Sums:
        """Sums over the cycles before each of some, which are counted from 0, rise, and begin above 0."""
        starts, e = np.concatenate([[0], cycles[:-1]]), self.of(cycles[-1])
        number = np.arange(float(len(e)))[:, None, None]
        plain, tilted, squared = (
            np.cumsum(np.add.reduceat(terms, starts, axis=0), axis=0)
            for terms in (e, (number + 1) * e, e * e)
        )
        row = np.zeros(cycles[-1] + 1, int)
        row[cycles] = np.arange(len(cycles))
        q, begin = 1 - self.phi, cycles[:, None, None].astype(float)
        steps = q * plain - self.phi * self._rows.table[cycles]
        ramps = q * tilted + (self.phi - q * begin) * plain
        return Sums(row, plain, tilted, squared, steps, ramps)

    def copy(self) -> Surprises:
        """An independent twin."""
        return copy.copy(self)

    def _expect(self, rows: Floats, missing: NDArray[np.bool_], *, out: Floats) -> NDArray[np.bool_]:
        """Find what the value before, shrunk for each cycle since, predicts; say which are as far out."""
        held = np.concatenate([self._held[None], np.clip(rows, -CAP_SD, CAP_SD) * MILLI])
        gap = np.ones(held.shape, int)
        gap[0] = self._gap
        if missing.any():
            index = np.arange(len(held))[:, None]
            last = np.maximum.accumulate(np.where(np.isnan(held), 0, index), axis=0)
            held, gap = np.take_along_axis(held, last, 0), np.take_along_axis(gap, last, 0) + index - last
        np.multiply(self.phi, held[:-1, None], out=out)
        at, series = np.nonzero(gap[:-1] > 1)
        out[at, :, series] = self.phi[:, 0] ** gap[at, series, None] * held[at, series, None]
        self._held, self._gap = held[-1], gap[-1]
        far = CAP_SD * MILLI
        again: NDArray[np.bool_] = (np.abs(held[:-1]) >= far) & (rows * np.sign(held[:-1]) > CAP_SD)
        return again
