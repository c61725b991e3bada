"""What all charts of a bed show after one cycle, before anybody decides what it means."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift.baseline import Baseline
from beadline.science.drift.directions import Series
from beadline.science.drift.evidence import ChangeEvidence
from beadline.science.drift.onset import Onset
from beadline.science.drift.panel import Panel
from beadline.science.drift.reading import label_of

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Finding:
    """The charts at one cycle.

    Attributes
    ----------
    cycle : int
        The cycle just taken in.
    cycles : sequence of int
        All usable cycles; there may be later ones.
    baseline : Baseline
        Centre and spread of every key.
    z : array
        Standardised values of all usable cycles up to this one.
    y : array
        Standardised values of the series at the same cycles.
    series : tuple of Series
        The series under watch.
    evidence : ChangeEvidence
        Their sums.
    excess, sign : array
        Evidence above the alert limit of each series, and which way it moved.
    panel : Panel
        The charts' limits, and which of them speak of the bed.
    bed_level : int
        0 within limits, 1 past an alert limit, 2 past an action limit, over the bed's series.
    fixed : mapping
        Level (1 alert, 2 action) of each limit by procedure passed.
    """

    cycle: int
    cycles: Sequence[int]
    baseline: Baseline
    z: Floats
    y: Floats
    series: tuple[Series, ...]
    panel: Panel
    evidence: ChangeEvidence
    excess: Floats
    sign: Floats
    bed_level: int
    fixed: Mapping[str, int]

    def spoken(self) -> list[int]:
        """The bed's series past their alert limit, the strongest first."""
        order = np.argsort(-self.excess, kind="stable")
        return [int(i) for i in order if self.panel.is_bed[i] and self.excess[i] > 0]

    def onset(self, series: int) -> Onset:
        """When one series changed."""
        return self.evidence.onset(series, float(self.sign[series]), self.y[:, series])

    def shifts(self, first: int, *, ramp: bool) -> dict[str, float]:
        """Shift of every key since an onset [baseline standard deviations]; how far a ramp has come."""
        rows = self.z
        after = rows[max(first, len(rows) - 5) :] if ramp else rows[first:]
        keys = self.baseline.keys
        return {
            key: round(float(now - before), 2)
            for key, now, before in zip(keys, _column_means(after), _column_means(rows[:first]), strict=True)
            if np.isfinite(now) and np.isfinite(before)
        }

    def in_words(self, sizes: Mapping[str, float]) -> str:
        """The three greatest shifts of bed metrics, in per cent where the chart is logarithmic."""
        names = [s.name for s in self.series if s.role == "metric"]
        greatest = sorted((key for key in names if key in sizes), key=lambda key: -abs(sizes[key]))[:3]
        return ", ".join(self._one_shift(key, sizes[key]) for key in greatest)

    def _one_shift(self, key: str, size: float) -> str:
        index = self.baseline.keys.index(key)
        scaled = size * float(self.baseline.sd[index])
        way = "up" if size > 0 else "down"
        amount = f"{abs(np.expm1(scaled)):.0%}, " if self.baseline.log[index] and abs(scaled) < 5 else ""
        return f"{label_of(key)} {way} by {amount}{abs(size):.1f} baseline standard deviations"


def _column_means(rows: Floats) -> Floats:
    """Mean of each column over what is there; nan where nothing is."""
    count = np.count_nonzero(~np.isnan(rows), axis=0)
    total = np.nansum(rows, axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
