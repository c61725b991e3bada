"""Charts of a bed whose baseline is complete: they take in many cycles at once and judge each in turn."""

from __future__ import annotations

import copy
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import charts, nuisances, panel, storing
from beadline.science.drift.baseline import Baseline
from beadline.science.drift.episodes import Episodes
from beadline.science.drift.evidence import ChangeEvidence
from beadline.science.drift.finding import Finding
from beadline.science.drift.fitted import Fitted
from beadline.science.drift.judgement import Judgement, Verdict
from beadline.science.drift.onset import CAP_SD
from beadline.science.drift.prior import Prior
from beadline.science.drift.reading import Reading
from beadline.science.drift.settings import Settings
from beadline.science.drift.shape import Shape
from beadline.science.estimates import Doubt

Floats = NDArray[np.float64]
VERDICTS: tuple[Verdict, ...] = ("in limits", "past alert limit", "past action limit")


@dataclass(frozen=True)
class Seen:
    """What all charts show at cycles taken in together, a row a cycle.

    Attributes
    ----------
    first : int
        Usable cycles before the first of them.
    z, ewma : array
        Standardised values and their moving averages [cycles, keys].
    best, sign : array
        Evidence of change of each series, and which way [cycles, series].
    bed_level, single_level : array of int
        Highest limit that the bed's series, and its single values and averages, are past: 0, 1 or 2.
    drift : array
        How far the bed has moved [baseline standard deviations].
    """

    first: int
    z: Floats
    ewma: Floats
    best: Floats
    sign: Floats
    bed_level: NDArray[np.int64]
    single_level: NDArray[np.int64]
    drift: Floats


class Monitor:
    """Charts every usable cycle from the baseline's first on."""

    def __init__(
        self, baseline: Baseline, shape: Shape, fitted: Fitted, *, settings: Settings, prior: Prior | None
    ) -> None:
        self.settings, self.baseline, self.shape, self.fitted = settings, baseline, shape, fitted
        self.phi, self.panel = expected_phi(settings, prior), fitted.panel
        spread = 0.15 if prior is None else float(np.clip(prior.phi_spread, 0.05, 0.3))
        series = fitted.plan.series
        self.evidence = ChangeEvidence(
            len(series), phi=self.phi, phi_spread=spread, known_sd_worth=fitted.worth
        )
        self.cycles: list[int] = []
        self.z, self._y = np.zeros((0, len(baseline.keys))), np.zeros((0, len(series)))
        self.ewma = np.zeros(len(baseline.keys))
        self.drift = 0.0
        joined = np.array([s.role == "joined" for s in series], bool)
        self._leading = np.flatnonzero(joined if joined.any() else self.panel.is_bed)

    def remember(self, cycles: Sequence[int], z: Floats) -> None:
        """Let the charts of lasting change see cycles."""
        y = self.fitted.series_of(z)
        self.cycles.extend(cycles)
        self.z, self._y = np.concatenate([self.z, z]), np.concatenate([self._y, y])
        self.evidence.extend(y)

    def resume(self, cycles: Sequence[int], z: Floats, ewma: Floats) -> None:
        """Go on after cycles that were judged before, those of the baseline first."""
        self.remember(cycles, z)
        later = z[len(self.baseline.cycles) :]
        if len(later):
            self.ewma = ewma
            self.drift = float(self._drifts(1)[0])

    def take(self, readings: Sequence[Reading]) -> Seen:
        """Take usable cycles into all charts."""
        first, count = len(self.cycles), len(readings)
        z = storing.rounded(self.baseline.standardised([self.shape.added(r) for r in readings]))
        self.remember([r.cycle for r in readings], z)
        ewma = self._averages(z)
        scores, two_sided, change = self.evidence.looks(count), self.panel.two_sided, self.panel.change
        best = np.where(two_sided, np.maximum(scores.up, scores.down), scores.up)
        best = self.panel.corrected(best, scores.phi - self.phi, cycles=first + 1 + np.arange(count))
        best = np.where(self._stand_alone(count), np.minimum(best, change.alert), best)
        bed_level = self.panel.bed_level(best)
        bed_level[(bed_level > 0) & self.panel.clearly_past(self.z[-count - 1 :])] = 2
        return Seen(
            first=first,
            z=z,
            ewma=ewma,
            best=best,
            sign=np.where(two_sided & (scores.down > scores.up), -1.0, 1.0),
            bed_level=bed_level,
            single_level=self.panel.single_level(z, ewma),
            drift=self._drifts(count),
        )

    def judge(
        self, seen: Seen, row: int, reading: Reading, *, episodes: Episodes, doubts: tuple[Doubt, ...]
    ) -> Judgement:
        """Judge one of the cycles taken in."""
        self.ewma, self.drift = seen.ewma[row], float(seen.drift[row])
        best, known, fixed = seen.best[row], seen.first + row + 1, past_procedure(reading, self.settings)
        finding = Finding(
            cycle=reading.cycle,
            cycles=self.cycles,
            baseline=self.baseline,
            z=self.z[:known],
            y=self._y[:known],
            series=self.fitted.plan.series,
            panel=self.panel,
            evidence=self.evidence,
            excess=best - self.panel.change.alert,
            sign=seen.sign[row],
            bed_level=int(seen.bed_level[row]),
            fixed=fixed,
        )
        judged = nuisances.judge(finding)
        alert = episodes.step(finding, explained=judged.explains_bed)
        charted = 0 if judged.explains_bed else max(finding.bed_level, int(seen.single_level[row]))
        frames = (self.panel.individuals, self.panel.ewma, self.panel.change)
        values = (seen.z[row], seen.ewma[row], best)
        return Judgement(
            reading.cycle,
            VERDICTS[max(charted, max(fixed.values(), default=0))],
            episodes.condition,
            self.drift,
            alert,
            not_the_bed=doubts + judged.doubts,
            procedure=in_words(fixed),
            points=tuple(panel.Points(frame, value) for frame, value in zip(frames, values, strict=True)),
        )

    def copy(self) -> Monitor:
        """An independent twin."""
        twin = copy.copy(self)
        twin.cycles, twin.evidence = list(self.cycles), self.evidence.copy()
        return twin

    def _averages(self, z: Floats) -> Floats:
        """Moving averages after each of some cycles, from where they stood."""
        found, now = np.empty_like(z), self.ewma
        for i, row in enumerate(z):
            found[i] = now = charts.smoothed(now, row)
        return found

    def _stand_alone(self, count: int) -> NDArray[np.bool_]:
        """Series far out in a cycle and not on that side in the one before: perhaps an odd cycle."""
        before, now = self._y[-count - 1 : -1], self._y[-count:]
        alone: NDArray[np.bool_] = (np.abs(now) > CAP_SD) & ~(before * np.sign(now) > 1.0)
        return alone

    def _drifts(self, count: int) -> Floats:
        """Median of each cycle and the two before, in the direction that moved most."""
        if not self._leading.size:
            return np.zeros(count)
        y = np.nan_to_num(self._y[-count - 2 :, self._leading])
        last = np.sort(np.stack([y[:-2], y[1:-1], y[2:]]), axis=0)
        middle, both = last[1], self.panel.two_sided[self._leading]
        furthest: Floats = np.where(both, np.abs(middle), np.maximum(middle, 0.0)).max(1)
        return furthest


def expected_phi(settings: Settings, prior: Prior | None) -> float:
    """Autocorrelation expected of every series, from the fleet where there is one."""
    known = None if prior is None else prior.phi
    return settings.phi if known is None else float(np.clip(known, 0.0, 0.6))


def past_procedure(reading: Reading, settings: Settings) -> dict[str, int]:
    """Level (1 alert, 2 action) of each limit by procedure that a cycle passed."""
    ranks = {"": 0, "alert": 1, "action": 2}
    found = {}
    for key, limits in settings.fixed_limits.items():
        estimate = reading.values.get(key)
        if estimate is not None and (rank := ranks[limits.level(estimate.value)]):
            found[key] = rank
    return found


def in_words(fixed: Mapping[str, int]) -> dict[str, Literal["alert", "action"]]:
    """The same levels by their names."""
    return {key: "action" if level > 1 else "alert" for key, level in fixed.items()}
