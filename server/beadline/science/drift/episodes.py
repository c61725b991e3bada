"""One event of a bed is one alert, however many charts and cycles speak of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from beadline.science import causes
from beadline.science.drift.charts import ChartReading
from beadline.science.drift.finding import Finding
from beadline.science.drift.judgement import AlertEvidence, Condition
from beadline.science.drift.reading import label_of, metric_of

CALM_CYCLES = 10
_LEVELS: tuple[Literal["alert", "action"], ...] = ("alert", "action")
_REFINE_AFTER = frozenset({2, 5, 10, 20})


@dataclass
class Episodes:
    """The open event, if any, and how many there were.

    Notes
    -----
    An event is raised when it opens and when it reaches the action level, and at no other time. It stays open
    until ten usable cycles in a row are within limits; a new excursion is then a new event.
    """

    count: int = 0
    calm: int = 0
    now: int = 0
    age: int = 0
    alert: AlertEvidence | None = None

    @property
    def condition(self) -> Condition:
        """Condition of a bed whose baseline is complete."""
        conditions: tuple[Condition, ...] = ("in control", "drifting", "degraded")
        return conditions[self.now]

    def quiet(self) -> AlertEvidence | None:
        """The open event in a cycle that says nothing new."""
        if self.alert is not None and self.alert.raised:
            self.alert = replace(self.alert, raised=False)
        return self.alert

    def by_limit(self, cycle: int, fixed: Mapping[str, int]) -> AlertEvidence | None:
        """Follow limits by procedure while there are no charts yet."""
        return self._follow(max(fixed.values(), default=0), lambda: _limit_evidence(cycle, fixed))

    def by_start(self, cycle: int, past: Sequence[ChartReading]) -> AlertEvidence | None:
        """Follow runs of a young bed that are not what its pulse test promised."""
        level = max(_LEVELS.index(reading.level) + 1 for reading in past if reading.level)
        return self._follow(level, lambda: _start_evidence(cycle, past))

    def step(self, finding: Finding, *, explained: bool) -> AlertEvidence | None:
        """Follow all charts of one cycle."""
        charted = 0 if explained else finding.bed_level
        fixed = max(finding.fixed.values(), default=0)
        return self._follow(max(charted, fixed), lambda: describe(finding, charted))

    def _follow(self, level: int, evidence: Any) -> AlertEvidence | None:
        self.now = level
        if level == 0:
            return self._rest()
        self.calm = 0
        self.age += 1
        if self.alert is None:
            self.count += 1
            self.age = 0
            found = evidence()
            self.alert = replace(found, episode=self.count, level=_LEVELS[level - 1], raised=True)
        elif level - 1 > _LEVELS.index(self.alert.level):
            self.alert = replace(
                evidence(), episode=self.count, level="action", raised=True, opened=self.alert.opened
            )
        elif self.age in _REFINE_AFTER:
            self.alert = _dated(evidence(), self.alert)
        else:
            return self.quiet()
        return self.alert

    def _rest(self) -> AlertEvidence | None:
        self.calm += 1
        if self.calm >= CALM_CYCLES:
            self.alert = None
        return self.quiet()

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        alert = self.alert.to_dict() if self.alert else None
        return {"count": self.count, "calm": self.calm, "now": self.now, "age": self.age, "alert": alert}

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Episodes:
        """Read back what `to_dict` gave."""
        alert = AlertEvidence.from_dict(stored["alert"]) if stored["alert"] else None
        return cls(stored["count"], stored["calm"], stored["now"], stored["age"], alert)


def _dated(found: AlertEvidence, old: AlertEvidence) -> AlertEvidence:
    """Evidence seen anew for an open event, which began no later than it was opened."""
    return replace(
        found,
        episode=old.episode,
        level=old.level,
        raised=False,
        opened=old.opened,
        since=min(found.since, old.opened),
        since_low=min(found.since_low, old.opened),
        since_high=min(found.since_high, old.opened),
    )


def describe(finding: Finding, charted: int) -> AlertEvidence:
    """Put the evidence of one cycle into numbers and words."""
    if not charted:
        return _limit_evidence(finding.cycle, finding.fixed)
    spoke = finding.spoken()
    onset = finding.onset(spoke[0])
    sizes = finding.shifts(onset.first, ramp=onset.kind == "ramp")
    since, low, high = (finding.cycles[i] for i in (onset.first, onset.low, onset.high))
    names = [finding.series[i].label for i in spoke[:2]]
    opening = "suddenly" if onset.kind == "step" else "gradually"
    moved = finding.in_words(sizes)
    when = f"since about cycle {since} ({low} to {high})"
    sentence = f"The bed has changed {opening} {when}: {' and '.join(names)}; {moved}."
    sentence += " ".join(
        f" {label_of(key)[:1].upper() + label_of(key)[1:]} is past its limit by procedure."
        for key in finding.fixed
    )
    return AlertEvidence(
        episode=0,
        level="alert",
        raised=True,
        opened=finding.cycle,
        since=since,
        since_low=low,
        since_high=high,
        kind=onset.kind,
        series=tuple(finding.series[i].name for i in spoke),
        sizes=sizes,
        score=round(float(np.max(finding.excess[spoke[0]])), 3),
        sentence=sentence,
        causes=causes.rank(sizes),
    )


def _limit_evidence(cycle: int, fixed: Mapping[str, int]) -> AlertEvidence:
    """An event opened by limits of procedure alone."""
    keys = sorted(fixed, key=lambda key: -fixed[key])
    names = " and ".join(label_of(key) for key in keys)
    return _of_one_run(cycle, "limit", keys, f"Past the limit set by procedure in cycle {cycle}: {names}.")


def _start_evidence(cycle: int, past: Sequence[ChartReading]) -> AlertEvidence:
    """An event opened by a bed that begins otherwise than its pulse test promised."""
    said = "; ".join(_not_as_promised(reading) for reading in past)
    sentence = (
        f"Cycle {cycle} is not what the bed's pulse test promised: {said}. Check the test and the packing."
    )
    return _of_one_run(cycle, "start", [reading.key for reading in past], sentence)


def _not_as_promised(reading: ChartReading) -> str:
    metric, high = metric_of(reading.key), reading.alert_high
    value, centre = (f"{metric.shown(v):.3g} {metric.unit}".strip() for v in (reading.value, reading.centre))
    way = "above" if high is not None and reading.value > high else "below"
    return f"{label_of(reading.key)} of {value} is far {way} {centre}"


def _of_one_run(
    cycle: int, kind: Literal["limit", "start"], keys: Sequence[str], sentence: str
) -> AlertEvidence:
    return AlertEvidence(
        episode=0,
        level="alert",
        raised=True,
        opened=cycle,
        since=cycle,
        since_low=cycle,
        since_high=cycle,
        kind=kind,
        series=tuple(keys),
        sizes={},
        score=0.0,
        sentence=sentence,
        causes=(),
    )
