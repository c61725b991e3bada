"""The engine that judges one cycle after another."""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import baseline as baselines
from beadline.science.drift import charts, directions, nuisances, panel, shape, storing
from beadline.science.drift.baseline import Baseline
from beadline.science.drift.episodes import Episodes
from beadline.science.drift.evidence import CAP_SD, ChangeEvidence
from beadline.science.drift.finding import Finding
from beadline.science.drift.judgement import Condition, Judgement, Verdict
from beadline.science.drift.prior import Prior
from beadline.science.drift.reading import Reading
from beadline.science.drift.settings import Settings
from beadline.science.estimates import Doubt, Estimate

Floats = NDArray[np.float64]
_EARLY_CYCLES = 8
# Where sister beds tell the spread, watching begins sooner, with limits for false alarms that are so much
# rarer that all of the first cycles together cost no more: by tests/benchmarks/drift_young.py.
_EARLY_CYCLES_KNOWN = 5
_EARLY_RARER = 3.0
_VERDICTS: tuple[Verdict, ...] = ("in limits", "past alert limit", "past action limit")


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
        self.cycles: list[int] = []
        self.z_rows: list[Floats] = []
        self.y_rows: list[Floats] = []
        self.baseline: Baseline | None = None
        self.shape = shape.Shape({})
        self.episodes = Episodes()
        self._early: Watch | None = None

    def judge(self, reading: Reading) -> Judgement:
        """Take in one cycle and say what follows from it."""
        if reading.cycle <= self.last_cycle:
            raise ValueError(
                f"Cycle {reading.cycle} does not follow cycle {self.last_cycle}; replay from there."
            )
        self.seen += 1
        self.last_cycle = reading.cycle
        self.recent_usable = [*self.recent_usable[-19:], reading.usable]
        gaps = nuisances.gaps(self.recent_usable)
        if not reading.counts:
            return self._gap(reading, gaps)
        if self.baseline is None:
            return self._learn(reading, gaps)
        return self._monitor(reading, gaps, self.baseline)

    def _gap(self, reading: Reading, doubts: tuple[Doubt, ...]) -> Judgement:
        condition: Condition = "learning baseline" if self.baseline is None else self.episodes.condition
        return Judgement(
            reading.cycle, "not usable", condition, self._drift(), self.episodes.quiet(), not_the_bed=doubts
        )

    def _learn(self, reading: Reading, doubts: tuple[Doubt, ...]) -> Judgement:
        if self._early is not None and self.settings.may_define(reading.cycle):
            early = self._early.judge(reading)
            doubts += early.not_the_bed
            found = replace(early, condition="learning baseline", drift=0.0, not_the_bed=doubts)
        else:
            fixed = self._fixed(reading)
            alert = self.episodes.by_limit(reading.cycle, fixed)
            verdict = _VERDICTS[max(fixed.values(), default=0)]
            found = Judgement(
                reading.cycle,
                verdict,
                "learning baseline",
                0.0,
                alert,
                not_the_bed=doubts,
                procedure=_in_words(fixed),
            )
        if self.settings.may_define(reading.cycle):
            self.learning.append(reading)
            self._watch_early()
        if self._is_whole(reading.cycle):
            self._complete()
        return found

    def _watch_early(self) -> None:
        """Let a shorter baseline watch while the whole one is learnt."""
        enough = self._early_cycles
        if self._early is not None or len(self.learning) < enough or self._is_whole(self.last_cycle):
            return
        short = replace(self._early_settings, baseline_start=1, fixed_cycles=())
        early = Watch(short, self.prior, baseline_cycles=enough)
        for reading in self.learning[:enough]:
            early.judge(reading)
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
        """The same, with rarer false alarms where watching begins sooner."""
        if self._early_cycles == _EARLY_CYCLES:
            return self.settings
        return replace(
            self.settings,
            one_false_alarm_in=_EARLY_RARER * self.settings.one_false_alarm_in,
            action_one_in=_EARLY_RARER * self.settings.action_one_in,
        )

    def _complete(self) -> None:
        """Fix the baseline and let the charts see its cycles."""
        self.shape, rows = shape.learn(self.learning)
        self.learning, self._early = [], None
        self.baseline = baselines.learn(rows, self.settings, prior=self.prior)
        z = np.array([storing.rounded(self.baseline.standardised(r)) for r in rows])
        z = np.where(np.abs(z) > baselines.REJECT_SD, np.nan, z)
        self._prepare(self.baseline, z)
        self.cycles = [r.cycle for r in rows]
        self._remember(z)

    def _prepare(self, baseline: Baseline, z: Floats) -> None:
        """Limits of every chart, and empty charts."""
        self.plan = directions.plan(baseline, z, self.settings)
        y = np.array([storing.rounded(self.plan.combine(row)) for row in z])
        self.y_centre, self.y_sd = baselines.robust_moments(y)
        self.y_sd = np.maximum(self.y_sd, 1e-3)
        n_series = len(self.plan.series)
        worth = self._known_worth(baseline)
        self.y_sd = np.sqrt(((len(z) - 1) * self.y_sd**2 + worth) / (len(z) - 1 + worth))
        self.evidence = ChangeEvidence(
            n_series, phi=self.phi, phi_spread=self.phi_spread, known_sd_worth=worth, capacity=320
        )
        self.panel = panel.build(
            self.plan, z, baseline=baseline, settings=self.settings, phi=self.phi, known_sd_worth=worth
        )
        self.ewma = np.zeros(len(baseline.keys))
        joined = np.array([s.role == "joined" for s in self.plan.series], bool)
        self._leading = np.flatnonzero(joined if joined.any() else self.panel.is_bed)

    def _known_worth(self, baseline: Baseline) -> Floats:
        """Degrees of freedom of the fleet's spread, for series that rest on one key."""
        known = {} if self.prior is None else self.prior.worth
        weight = np.abs(self.plan.weights)
        single = np.count_nonzero(weight > 0.05, axis=0) == 1
        worth = np.array([known.get(baseline.keys[i], 0.0) for i in weight.argmax(axis=0)])
        return np.where(single, worth, 0.0)

    @property
    def phi(self) -> float:
        """Autocorrelation expected, from the fleet where there is one."""
        known = self.prior.phi if self.prior is not None else None
        return self.settings.phi if known is None else float(np.clip(known, 0.0, 0.6))

    @property
    def phi_spread(self) -> float:
        """How far this bed's may lie from it."""
        return 0.15 if self.prior is None else float(np.clip(self.prior.phi_spread, 0.05, 0.3))

    def _remember(self, rows: Floats) -> None:
        """Let the charts see cycles [cycles, keys]."""
        y = storing.rounded(np.array([self.plan.combine(row) for row in rows]))
        self.z_rows.extend(rows)
        self.y_rows.extend(y)
        self.evidence.extend((y - self.y_centre) / self.y_sd)

    def _monitor(self, reading: Reading, doubts: tuple[Doubt, ...], baseline: Baseline) -> Judgement:
        reading = self.shape.added(reading)
        z = storing.rounded(baseline.standardised(reading))
        self.cycles.append(reading.cycle)
        self._remember(z[None])
        self.ewma = charts.smoothed(self.ewma, z)
        scores = self.evidence.look()
        two_sided, change = self.panel.two_sided, self.panel.change
        best = np.where(two_sided, np.maximum(scores.up, scores.down), scores.up)
        best = best - self.panel.phi_toll * np.maximum(scores.phi - self.phi, 0.0)
        best = np.where(self._stands_alone(), np.minimum(best, change.alert), best)
        finding = Finding(
            cycle=reading.cycle,
            cycles=self.cycles,
            baseline=baseline,
            z_rows=self.z_rows,
            series=self.plan.series,
            panel=self.panel,
            evidence=self.evidence,
            excess=best - change.alert,
            sign=np.where(two_sided & (scores.down > scores.up), -1.0, 1.0),
            fixed=self._fixed(reading),
        )
        judged = nuisances.judge(finding)
        alert = self.episodes.step(finding, explained=judged.explains_bed)
        charted = 0 if judged.explains_bed else max(finding.bed_level, self.panel.single_level(z, self.ewma))
        return Judgement(
            reading.cycle,
            _VERDICTS[max(charted, max(finding.fixed.values(), default=0))],
            self.episodes.condition,
            self._drift(),
            alert,
            not_the_bed=doubts + judged.doubts,
            procedure=_in_words(finding.fixed),
            points=(
                panel.Points(self.panel.individuals, z),
                panel.Points(self.panel.ewma, self.ewma),
                panel.Points(change, best),
            ),
        )

    def _stands_alone(self) -> NDArray[np.bool_]:
        """Series far out in the newest cycle and not on that side in the one before: perhaps an odd cycle."""
        before, now = (np.array(self.y_rows[-2:]) - self.y_centre) / self.y_sd
        alone: NDArray[np.bool_] = (np.abs(now) > CAP_SD) & ~(before * np.sign(now) > 1.0)
        return alone

    def _fixed(self, reading: Reading) -> dict[str, int]:
        """Levels of the limits by procedure that this cycle passed."""
        ranks = {"": 0, "alert": 1, "action": 2}
        found = {}
        for key, limits in self.settings.fixed_limits.items():
            estimate: Estimate | None = reading.values.get(key)
            if estimate is not None and (rank := ranks[limits.level(estimate.value)]):
                found[key] = rank
        return found

    def _drift(self) -> float:
        """Median of the last three cycles, in the direction that moved most."""
        if self.baseline is None or len(self.y_rows) <= len(self.baseline.cycles) or not self._leading.size:
            return 0.0
        last = np.array([row[self._leading] for row in self.y_rows[-3:]])
        last[np.isnan(last)] = 0.0
        last.sort(axis=0)
        middle = (last[1] - self.y_centre[self._leading]) / self.y_sd[self._leading]
        both = self.panel.two_sided[self._leading]
        return float(np.where(both, np.abs(middle), np.maximum(middle, 0.0)).max())

    def copy(self) -> Watch:
        """An independent twin."""
        twin = copy.copy(self)
        for name in ("recent_usable", "learning", "cycles", "z_rows", "y_rows"):
            setattr(twin, name, list(getattr(self, name)))
        twin.episodes = copy.copy(self.episodes)
        if self._early is not None:
            twin._early = self._early.copy()
            twin._early.episodes = twin.episodes
        if self.baseline is not None:
            twin.evidence = self.evidence.copy()
        return twin

    def to_dict(self) -> dict[str, Any]:
        """Plain values for storage as JSON."""
        return {
            "settings": self.settings.to_dict(),
            "prior": self.prior.to_dict() if self.prior else None,
            "seen": self.seen,
            "last_cycle": self.last_cycle,
            "recent_usable": self.recent_usable,
            "learning": [storing.plain_reading(reading) for reading in self.learning],
            "cycles": self.cycles,
            "baseline": self.baseline.to_dict() if self.baseline else None,
            "shape": self.shape.to_dict(),
            "z": storing.packed(self.z_rows),
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
            bed._resume(Baseline.from_dict(stored["baseline"]), stored)
        return bed

    def _resume_early(self) -> None:
        enough = self._early_cycles
        rows, self.learning = self.learning, self.learning[:enough]
        self._watch_early()
        self.learning = rows
        for reading in rows[enough:]:
            if self._early is not None:
                self._early.judge(reading)

    def _resume(self, baseline: Baseline, stored: Mapping[str, Any]) -> None:
        self.baseline = baseline
        self.shape = shape.Shape.from_dict(stored["shape"])
        rows = storing.unpacked(stored["z"], len(baseline.keys))
        first = len(baseline.cycles)
        self._prepare(baseline, rows[:first])
        self.cycles = list(stored["cycles"])
        self._remember(rows)
        for row in rows[first:]:
            self.ewma = charts.smoothed(self.ewma, row)


def _in_words(fixed: Mapping[str, int]) -> dict[str, Literal["alert", "action"]]:
    return {key: "action" if level > 1 else "alert" for key, level in fixed.items()}
