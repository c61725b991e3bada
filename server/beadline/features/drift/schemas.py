"""A judged cycle, on its way to the alerts."""

from __future__ import annotations

from dataclasses import dataclass

from beadline.features.transitions.schemas import CurveView
from beadline.science.drift import Judgement, Promise
from beadline.store.tables import Cycle


@dataclass(frozen=True, slots=True)
class Judged:
    """A cycle, what the charts say of it, and that in one short sentence where there is an alert."""

    cycle: Cycle
    judgement: Judgement
    headline: str


@dataclass(frozen=True, slots=True)
class SharedSpread:
    """Cycle-to-cycle spread of one key, on its charted scale: of the logarithm where `log`.

    Attributes
    ----------
    sisters : float
        Standard deviation that sister beds have shown.
    weight : float
        Part of the spread judged with that is theirs, once the baseline is complete.
    used : float or None
        What the bed is judged with; None while its baseline is learnt.
    """

    key: str
    log: bool
    sisters: float
    weight: float
    used: float | None


@dataclass(frozen=True, slots=True)
class SharedPromise:
    """What a bed's pulse test promises of one key.

    Attributes
    ----------
    worth_cycles : float
        How many runs of the bed tell as much.
    runs : float or None
        Centre of the bed's own baseline, in the metric's own unit; None while it is learnt.
    """

    key: str
    promise: Promise
    worth_cycles: float
    runs: float | None


@dataclass(frozen=True, slots=True)
class Experience:
    """What sister beds contribute to a bed's limits, or would if it were switched on.

    Attributes
    ----------
    phi : float
        Correlation of neighbouring cycles, pooled over them.
    phi_alone : float
        What is expected without them.
    """

    sisters: tuple[str, ...]
    phi: float
    phi_alone: float
    spreads: tuple[SharedSpread, ...]
    promises: tuple[SharedPromise, ...]


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
