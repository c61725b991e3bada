"""The life of one bed, cycle by cycle: replay of all, or one further cycle from a stored state."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import watch
from beadline.science.drift.baseline import Baseline
from beadline.science.drift.charts import ChartReading
from beadline.science.drift.judgement import AlertEvidence, Judgement
from beadline.science.drift.monitor import expected_phi
from beadline.science.drift.panel import Points
from beadline.science.drift.prior import Prior
from beadline.science.drift.reading import Reading
from beadline.science.drift.settings import VERSION, FixedLimits, Settings

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class State:
    """All that is needed to judge the next cycle as if the whole life were replayed.

    Examples
    --------
    >>> state = start(Settings())
    >>> State.from_dict(state.to_dict()).cycles_seen
    0
    """

    _watch: watch.Watch

    @property
    def cycles_seen(self) -> int:
        """Cycles judged so far, gaps included."""
        return self._watch.seen

    @property
    def baseline(self) -> Baseline | None:
        """The baseline, once it is complete."""
        charted = self._watch.monitor
        return None if charted is None else charted.baseline

    @property
    def settings(self) -> Settings:
        """How the bed is watched."""
        return self._watch.settings

    @property
    def phi(self) -> float:
        """Autocorrelation expected of every series."""
        return expected_phi(self._watch.settings, self._watch.prior)

    def series(self, key: str) -> tuple[NDArray[np.int64], Floats]:
        """Usable cycles since the baseline began and a metric's values in its own unit; nan where missing."""
        charted, base = self._watch.monitor, self.baseline
        if charted is None or base is None or key not in base.keys:
            return np.zeros(0, np.int64), np.zeros(0)
        place = base.keys.index(key)
        scaled = base.centre[place] + charted.z[:, place] * base.sd[place]
        return np.array(charted.cycles), np.exp(scaled) if base.log[place] else scaled

    def individuals(self, key: str) -> FixedLimits:
        """Limits of a metric's individuals chart in its own unit; none while the baseline is learnt."""
        charted, base = self._watch.monitor, self.baseline
        if charted is None or base is None or key not in base.keys:
            return FixedLimits()
        _, low, high, far_low, far_high = charted.panel.individuals.bounds[base.keys.index(key)]
        return FixedLimits(low, high, far_low, far_high)

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        return self._watch.to_dict()

    @staticmethod
    def is_current(stored: Mapping[str, Any]) -> bool:
        """Whether this version of the method stored a state; if not, the life has to be replayed."""
        return stored.get("version") == VERSION

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> State:
        """Read back what `to_dict` gave.

        Raises
        ------
        ValueError
            If another version of the method stored it.
        """
        if not cls.is_current(stored):
            raise ValueError(f"A state of version {stored.get('version')} is not one of version {VERSION}.")
        return cls(watch.Watch.from_dict(stored))


@dataclass(frozen=True)
class Life:
    """Everything said about a bed so far.

    Attributes
    ----------
    judgements : tuple of Judgement
        One a cycle, in order.
    baseline : Baseline or None
        None while it is learnt.
    alerts : tuple of AlertEvidence
        The events, each as it was at its highest level.
    state : State
        To go on from.
    """

    judgements: tuple[Judgement, ...]
    baseline: Baseline | None
    alerts: tuple[AlertEvidence, ...]
    state: State


def limits(state: State, key: str) -> tuple[ChartReading, ...]:
    """Centre and limits of every chart of one key, for drawing; they stand as long as the baseline does.

    Parameters
    ----------
    state : State
        Of a bed whose baseline is complete.
    key : str
        Key of a metric, or name of a joined direction.

    Returns
    -------
    tuple of ChartReading
        One a chart, its value at the centre; empty while the baseline is learnt.

    Examples
    --------
    >>> limits(start(Settings()), "wash/asymmetry")
    ()
    """
    if state._watch.monitor is None:
        return ()
    board = state._watch.monitor.panel
    frames = (board.individuals, board.ewma, board.change)
    found = [Points(frame, np.zeros(len(frame.keys))).readings() for frame in frames]
    return tuple(reading for readings in found for reading in readings if reading.key == key)


def start(settings: Settings, *, prior: Prior | None = None) -> State:
    """State of a bed before its first cycle."""
    return State(watch.Watch(settings, prior))


def replay(readings: Iterable[Reading], settings: Settings, *, prior: Prior | None = None) -> Life:
    """Judge a whole life from its first cycle.

    Parameters
    ----------
    readings : iterable of Reading
        The cycles in the order of their numbers; gaps in the numbers are allowed.
    settings : Settings
        How the bed is watched.
    prior : Prior, optional
        What sister beds have shown.

    Raises
    ------
    ValueError
        If cycle numbers do not rise.

    Examples
    --------
    >>> from beadline.science.estimates import Estimate
    >>> cycles = [Reading(n, {"wash/skewness": Estimate(0.1 * (n % 3), 0.01)}) for n in range(1, 17)]
    >>> [j.condition for j in replay(cycles, Settings()).judgements][-2:]
    ['learning baseline', 'in control']
    """
    bed = watch.Watch(settings, prior)
    judgements = tuple(bed.judge(list(readings)))
    events: dict[int, AlertEvidence] = {}
    for judgement in judgements:
        if judgement.alert is not None:
            events[judgement.alert.episode] = judgement.alert
    return Life(judgements, State(bed).baseline, tuple(events.values()), State(bed))


def advance(state: State, reading: Reading) -> tuple[State, Judgement]:
    """Judge one further cycle; the given state stays as it was.

    Raises
    ------
    ValueError
        If the cycle's number is not above the last one: replay from there instead.
    """
    bed = state._watch.copy()
    judgement = bed.judge([reading])[0]
    return State(bed), judgement
