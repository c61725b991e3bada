"""A judged cycle, on its way to the alerts."""

from __future__ import annotations

from dataclasses import dataclass

from beadline.features.transitions.schemas import CurveView
from beadline.science.drift import Judgement
from beadline.store.tables import Cycle


@dataclass(frozen=True, slots=True)
class Judged:
    """A cycle, what the charts say of it, and that in one short sentence where there is an alert."""

    cycle: Cycle
    judgement: Judgement
    headline: str


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """A whole life as it would be judged, and the numbers of the cycles that would define its baseline."""

    judged: tuple[Judged, ...]
    baseline: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class CycleCurve:
    """A transition's curve over the baseline, and the number of its cycle."""

    cycle: int
    view: CurveView
