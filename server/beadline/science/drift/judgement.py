"""What is said about one cycle."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, Literal

from beadline.science import causes
from beadline.science.drift.charts import ChartReading
from beadline.science.drift.panel import Points
from beadline.science.estimates import Doubt

Verdict = Literal["in limits", "past alert limit", "past action limit", "not usable"]
Condition = Literal["learning baseline", "in control", "drifting", "degraded"]


@dataclass(frozen=True)
class AlertEvidence:
    """What speaks for a change of the bed, the same throughout one event.

    Attributes
    ----------
    episode : int
        Number of the event in the life of this bed, from 1.
    level : {"alert", "action"}
        Highest limit passed so far.
    raised : bool
        True in the cycle that opens the event or takes it to a higher level: the moment to tell people.
    opened : int
        Cycle in which it was opened.
    since, since_low, since_high : int
        Cycle in which the change seems to have begun, and an interval of about 80 %.
    kind : {"step", "ramp", "limit", "start"}
        Sudden, gradual, a limit by procedure passed, or a start that is not what the pulse test promised.
    series : tuple of str
        Which directions and metrics spoke, the strongest first.
    sizes : mapping
        Shift of each bed metric since then [baseline standard deviations].
    score : float
        Evidence above its alert limit [log likelihood ratio]; greater is surer.
    sentence : str
        All that in words.
    causes : tuple of Candidate
        What usually does this, the likeliest first.
    """

    episode: int
    level: Literal["alert", "action"]
    raised: bool
    opened: int
    since: int
    since_low: int
    since_high: int
    kind: Literal["step", "ramp", "limit", "start"]
    series: tuple[str, ...]
    sizes: Mapping[str, float]
    score: float
    sentence: str
    causes: tuple[causes.Candidate, ...]

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON; the causes are ranked anew from the sizes."""
        plain = {
            n: getattr(self, n) for n in self.__dataclass_fields__ if n not in ("causes", "series", "sizes")
        }
        return plain | {"series": list(self.series), "sizes": dict(self.sizes)}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> AlertEvidence:
        """Read back what `to_dict` gave."""
        rest = {name: value for name, value in stored.items() if name != "series"}
        return cls(**rest, series=tuple(stored["series"]), causes=causes.rank(stored["sizes"]))


@dataclass(frozen=True)
class Judgement:
    """Verdict on one cycle and condition of the bed after it.

    Attributes
    ----------
    cycle : int
        Number of the cycle.
    verdict : str
        Of the run: "in limits", "past alert limit", "past action limit" or "not usable".
    condition : str
        Of the bed: "learning baseline", "in control", "drifting" or "degraded".
    drift : float
        How far the bed has moved, in the direction that moved most: median of the last three usable cycles
        [baseline standard deviations]; 0 while the baseline is learnt.
    alert : AlertEvidence or None
        The open event, if there is one.
    not_the_bed : tuple of Doubt
        Changes that probe, buffer, flow, temperature, timing or a single odd cycle explain.
    procedure : mapping
        Levels of the limits by procedure that the run passed, by key.
    points : tuple of Points
        The charts, as arrays.
    """

    cycle: int
    verdict: Verdict
    condition: Condition
    drift: float
    alert: AlertEvidence | None = None
    not_the_bed: tuple[Doubt, ...] = ()
    procedure: Mapping[str, Literal["alert", "action"]] = field(default_factory=dict)
    points: tuple[Points, ...] = field(default=(), compare=False, repr=False)

    @cached_property
    def charts(self) -> tuple[ChartReading, ...]:
        """Every chart's point at this cycle, made when first looked at."""
        return tuple(reading for points in self.points for reading in points.readings())
