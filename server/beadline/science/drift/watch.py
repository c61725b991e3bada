"""The engine that judges one cycle after another."""

from __future__ import annotations

import copy
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from beadline.science.drift import baseline as baselines
from beadline.science.drift import fitted, nuisances, promise, shape, storing
from beadline.science.drift.baseline import Baseline
from beadline.science.drift.episodes import Episodes
from beadline.science.drift.judgement import Condition, Judgement
from beadline.science.drift.monitor import VERDICTS, Monitor, expected_phi, in_words, past_procedure
from beadline.science.drift.prior import Prior
from beadline.science.drift.reading import Reading
from beadline.science.drift.settings import VERSION, Settings
from beadline.science.estimates import Doubt

_EARLY_CYCLES = 8
# Where sister beds tell the spread, watching begins sooner.
_EARLY_CYCLES_KNOWN = 5
# So few cycles don't tell how autocorrelated a bed is, so that limits are for false alarms that much rarer:
# by tests/benchmarks/drift_young.py and drift_rates.py.
_EARLY_RARER = 3.0


class Watch:
    """Judges the cycles of one bed in order; everything it remembers is in `to_dict`."""

    def __init__(
        self, settings: Settings, prior: Prior | None = None, *, baseline_cycles: int | None = None
    ) -> None:
        self.settings = settings
        self._baseline_cycles = baseline_cycles
        self.prior = prior if settings.use_fleet else None
        self.seen = 0
        self.last_cycle = 0
        self.recent_usable: list[bool] = []
        self.learning: list[Reading] = []
        self.monitor: Monitor | None = None
        self.episodes = Episodes()
        self._early: Watch | None = None
        promised = self.prior is not None and baseline_cycles is None
        self._start = promise.frame(self.prior, settings) if self.prior is not None and promised else None

    def judge(self, readings: Sequence[Reading]) -> list[Judgement]:
        """Take in cycles, in order, and say what follows from each."""
        for before, after in itertools.pairwise([self.last_cycle, *(r.cycle for r in readings)]):
            if after <= before:
                raise ValueError(f"Cycle {after} does not follow cycle {before}; replay from there.")
        found: list[Judgement] = []
        while self.monitor is None and len(found) < len(readings):
            found.append(self._judge_young(readings[len(found)]))
        if self.monitor is not None and len(found) < len(readings):
            found += self._judge_charted(readings[len(found) :], self.monitor)
        return found

    def _judge_young(self, reading: Reading) -> Judgement:
        gaps = self._note(reading)
        return self._learn(reading, gaps) if reading.counts else self._gap(reading, gaps)

    def _judge_charted(self, readings: Sequence[Reading], monitor: Monitor) -> list[Judgement]:
        """Let all charts see all cycles, then judge one after another."""
        usable = [reading for reading in readings if reading.counts]
        seen = monitor.take(usable) if usable else None
        found, row = [], 0
        for reading in readings:
            gaps = self._note(reading)
            if seen is None or not reading.counts:
                found.append(self._gap(reading, gaps))
                continue
            found.append(monitor.judge(seen, row, reading, episodes=self.episodes, doubts=gaps))
            row += 1
        return found

    def _note(self, reading: Reading) -> tuple[Doubt, ...]:
        """Count a cycle, and say so if too many of late were unusable."""
        self.seen += 1
        self.last_cycle = reading.cycle
        self.recent_usable = [*self.recent_usable[-19:], reading.usable]
        return nuisances.gaps(self.recent_usable)

    def _gap(self, reading: Reading, doubts: tuple[Doubt, ...]) -> Judgement:
        condition: Condition = "learning baseline" if self.monitor is None else self.episodes.condition
        drift = 0.0 if self.monitor is None else self.monitor.drift
        return Judgement(
            reading.cycle, "not usable", condition, drift, self.episodes.quiet(), not_the_bed=doubts
        )

    def _learn(self, reading: Reading, doubts: tuple[Doubt, ...]) -> Judgement:
        if self._early is not None and self.settings.may_define(reading.cycle):
            early = self._early.judge([reading])[0]
            doubts += early.not_the_bed
            found = replace(early, condition="learning baseline", drift=0.0, not_the_bed=doubts)
        else:
            fixed = past_procedure(reading, self.settings)
            alert = self.episodes.by_limit(reading.cycle, fixed)
            verdict = VERDICTS[max(fixed.values(), default=0)]
            found = Judgement(
                reading.cycle,
                verdict,
                "learning baseline",
                0.0,
                alert,
                not_the_bed=doubts,
                procedure=in_words(fixed),
            )
        if self.settings.may_define(reading.cycle):
            found = self._against_promise(reading, found)
            self.learning.append(reading)
            self._watch_early()
        if self._is_whole(reading.cycle):
            self._complete()
        return found

    def _against_promise(self, reading: Reading, found: Judgement) -> Judgement:
        """Add what the pulse test says of a run, where it is worse than what is said already."""
        if self._start is None:
            return found
        points = promise.points(self._start, reading)
        past = [one for one in points.readings() if one.level]
        level, alert = int(points.levels().max()), found.alert
        if level > self.episodes.now:
            alert = self.episodes.by_start(reading.cycle, past)
        verdict = VERDICTS[max(level, VERDICTS.index(found.verdict))]
        return replace(found, verdict=verdict, alert=alert, points=(*found.points, points))

    def _watch_early(self) -> None:
        """Let a shorter baseline watch while the whole one is learnt."""
        enough = self._early_cycles
        if self._early is not None or len(self.learning) < enough or self._is_whole(self.last_cycle):
            return
        short = replace(self._early_settings, baseline_start=1, fixed_cycles=())
        early = Watch(short, self.prior, baseline_cycles=enough)
        early.judge(self.learning[:enough])
        early.episodes = self.episodes
        self._early = early

    def _is_whole(self, cycle: int) -> bool:
        """Whether the cycles learnt so far make the baseline complete."""
        if self._baseline_cycles is not None:
            return len(self.learning) >= self._baseline_cycles
        return self.settings.suffices(len(self.learning), at_cycle=cycle)

    @property
    def _early_cycles(self) -> int:
        """How many cycles it takes to begin: fewer where sister beds tell the spread."""
        return _EARLY_CYCLES_KNOWN if self.prior is not None and self.prior.sd else _EARLY_CYCLES

    @property
    def _early_settings(self) -> Settings:
        """The same, with rarer false alarms."""
        return replace(
            self.settings,
            one_false_alarm_in=_EARLY_RARER * self.settings.one_false_alarm_in,
            action_one_in=_EARLY_RARER * self.settings.action_one_in,
        )

    def _complete(self) -> None:
        """Fix the baseline and let the charts see its cycles."""
        normal, rows = shape.learn(self.learning)
        self.learning, self._early = [], None
        young = self._baseline_cycles is not None
        baseline = baselines.learn(rows, self.settings, prior=self.prior, young=young)
        z = storing.rounded(baseline.standardised(rows))
        z = np.where(np.abs(z) > baselines.REJECT_SD, np.nan, z)
        phi = expected_phi(self.settings, self.prior)
        found = fitted.fit(baseline, z, settings=self.settings, prior=self.prior, phi=phi)
        self.monitor = Monitor(baseline, normal, found, settings=self.settings, prior=self.prior)
        self.monitor.remember(baseline.cycles, z)

    def copy(self) -> Watch:
        """An independent twin."""
        twin = copy.copy(self)
        twin.learning = list(self.learning)
        twin.episodes = copy.copy(self.episodes)
        if self._early is not None:
            twin._early = self._early.copy()
            twin._early.episodes = twin.episodes
        if self.monitor is not None:
            twin.monitor = self.monitor.copy()
        return twin

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        charted = self.monitor
        return {
            "version": VERSION,
            "settings": self.settings.to_dict(),
            "prior": self.prior.to_dict() if self.prior else None,
            "seen": self.seen,
            "last_cycle": self.last_cycle,
            "recent_usable": self.recent_usable,
            "learning": [storing.plain_reading(reading) for reading in self.learning],
            "cycles": list(charted.cycles) if charted else [],
            "baseline": charted.baseline.to_dict() if charted else None,
            "shape": charted.shape.to_dict() if charted else {},
            "fitted": charted.fitted.to_dict() if charted else None,
            "z": storing.packed(charted.z) if charted else "",
            "ewma": charted.ewma.tolist() if charted else [],
            "episodes": self.episodes.to_dict(),
        }

    @classmethod
    def from_dict(cls, stored: Mapping[str, Any]) -> Watch:
        """Read back what `to_dict` gave."""
        prior = Prior.from_dict(stored["prior"]) if stored["prior"] else None
        bed = cls(Settings.from_dict(stored["settings"]), prior)
        bed.seen, bed.last_cycle = stored["seen"], stored["last_cycle"]
        bed.recent_usable = list(stored["recent_usable"])
        bed.learning = [storing.stored_reading(plain) for plain in stored["learning"]]
        bed._resume_early()
        bed.episodes = Episodes.from_dict(stored["episodes"])
        if bed._early is not None:
            bed._early.episodes = bed.episodes
        if stored["baseline"]:
            bed._resume(stored)
        return bed

    def _resume_early(self) -> None:
        enough = self._early_cycles
        rows, self.learning = self.learning, self.learning[:enough]
        self._watch_early()
        self.learning = rows
        if self._early is not None:
            self._early.judge(rows[enough:])

    def _resume(self, stored: Mapping[str, Any]) -> None:
        baseline = Baseline.from_dict(stored["baseline"])
        normal = shape.Shape.from_dict(stored["shape"])
        found = fitted.Fitted.from_dict(stored["fitted"], baseline, self.settings)
        self.monitor = Monitor(baseline, normal, found, settings=self.settings, prior=self.prior)
        z = storing.unpacked(stored["z"], len(baseline.keys))
        self.monitor.resume(stored["cycles"], z, np.array(stored["ewma"]))
