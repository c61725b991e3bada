"""All charts of one bed: their limits, fixed with the baseline, and their points."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import charts, directions
from beadline.science.drift.baseline import Baseline
from beadline.science.drift.charts import Chart, ChartReading, Level
from beadline.science.drift.directions import Plan
from beadline.science.drift.reading import metric_of
from beadline.science.drift.settings import Settings

Floats = NDArray[np.float64]
Bounds = tuple[float, float | None, float | None, float | None, float | None]
# How the budget of false alarms is divided over the kinds of charts.
SHARES = {"change": 0.9, "individuals": 0.05, "ewma": 0.05}
# Rare limits suffer from autocorrelation that is not what is expected: what is taken off the evidence, per
# unit of it and of the log rate. Above what is expected it is more while few cycles tell it, at the rarest;
# below it a bit is added instead, and a little to all. Chosen so that whole beds of 21 metrics keep the
# stated rate, which tests/benchmarks/drift_rates.py quotes.
_PHI_ABOVE, _PHI_ABOVE_YOUNG, _PHI_BELOW, _TO_ALL = 2.4, 600.0, 0.6, 0.05
_RAREST = 0.8
_LEVELS: tuple[Level, ...] = ("", "alert", "action")


@dataclass(frozen=True)
class Frame:
    """One kind of chart for many keys.

    Attributes
    ----------
    chart : {"individuals", "ewma", "change", "start"}
        Which chart.
    keys : tuple of str
        Keys, or names of directions.
    baseline : Baseline or None
        Turns standard deviations into the metrics' own units; None where the value has no unit.
    alert, action : array
        Limits [baseline sd, or log likelihood ratio].
    """

    chart: Chart
    keys: tuple[str, ...]
    baseline: Baseline | None
    alert: Floats
    action: Floats

    @cached_property
    def two_sided(self) -> NDArray[np.bool_]:
        """Which keys can get worse both ways; the others only by growing."""
        return np.array([metric_of(key).side == "both" for key in self.keys], bool)

    def sizes(self, value: Floats) -> Floats:
        """How far values lie towards the worse [baseline sd, or log likelihood ratio]."""
        return value if self.baseline is None else np.where(self.two_sided, np.abs(value), value)

    @cached_property
    def bounds(self) -> list[Bounds]:
        """For each key centre, alert low and high, action low and high in the metric's own unit."""
        base = self.baseline
        if base is None:
            none = np.full(len(self.keys), np.nan)
            columns = [np.zeros(len(self.keys)), none, self.alert, none, self.action]
        else:
            low = np.where(self.two_sided, -1.0, np.nan)
            sides = (0.0 * self.alert, low * self.alert, self.alert, low * self.action, self.action)
            columns = [base.on_unit(base.centre + side * base.sd) for side in sides]
        rows = zip(*(column.tolist() for column in columns), strict=True)
        return [(c, _some(al), _some(ah), _some(xl), _some(xh)) for c, al, ah, xl, xh in rows]


@dataclass(frozen=True)
class Points:
    """Values of one kind of chart at one cycle, kept as arrays until somebody looks."""

    frame: Frame
    value: Floats

    def levels(self) -> NDArray[np.int64]:
        """0 within limits, 1 past the alert limit, 2 past the action limit."""
        size = self.frame.sizes(self.value)
        found: NDArray[np.int64] = (size > self.frame.alert).astype(np.int64) + (size > self.frame.action)
        return found

    def readings(self) -> list[ChartReading]:
        """One record a key that has a value."""
        frame, base = self.frame, self.frame.baseline
        shown = self.value if base is None else base.on_unit(base.centre + self.value * base.sd)
        rows = zip(frame.keys, shown.tolist(), frame.bounds, self.levels().tolist(), strict=True)
        return [
            ChartReading(key, frame.chart, value, *bounds, _LEVELS[level])
            for key, value, bounds, level in rows
            if math.isfinite(value)
        ]


def _some(limit: float) -> float | None:
    return limit if math.isfinite(limit) else None


@dataclass(frozen=True)
class Panel:
    """The three kinds of charts of a bed.

    Attributes
    ----------
    individuals, ewma, change : Frame
        The charts and their limits.
    two_sided, is_bed : array of bool
        Which series count both ways, and which speak of the bed.
    bed_keys : array of int
        Positions of the bed's metrics among the keys.
    others, other_keys : array of int
        The series that do not speak of the bed, and the key of each.
    odd_sd : float
        Limit of a single cycle [baseline sd].
    rarity : array
        Logarithm of how much rarer than the whole bed's each series' own false alarms are.
    """

    individuals: Frame
    ewma: Frame
    change: Frame
    two_sided: NDArray[np.bool_]
    is_bed: NDArray[np.bool_]
    bed_keys: NDArray[np.int64]
    others: NDArray[np.int64]
    other_keys: NDArray[np.int64]
    odd_sd: float
    rarity: Floats

    def limits(self) -> tuple[Floats, ...]:
        """Alert and action limits of individuals, EWMA and change, as `with_limits` takes them."""
        frames = (self.individuals, self.ewma, self.change)
        return tuple(limit for frame in frames for limit in (frame.alert, frame.action))

    def corrected(self, best: Floats, surplus: Floats, *, cycles: NDArray[np.int64]) -> Floats:
        """Evidence at so many cycles, for autocorrelation above or below what is expected."""
        above = _PHI_ABOVE * self.rarity
        above = above + _PHI_ABOVE_YOUNG / cycles[:, None] * np.maximum(self.rarity - _RAREST, 0.0)
        off = above * np.maximum(surplus, 0.0) + self.rarity * (
            _PHI_BELOW * np.minimum(surplus, 0.0) - _TO_ALL
        )
        found: Floats = best - off
        return found

    def bed_level(self, best: Floats) -> NDArray[np.int64]:
        """Highest level of the charts of change that speak of the bed, at each of some cycles."""
        excess = np.where(self.is_bed, best - self.change.alert, 0.0)
        beyond = excess > 0
        far = beyond & (excess > self.change.action - self.change.alert)
        found: NDArray[np.int64] = np.maximum(beyond, 2 * far).max(1, initial=0)
        return found

    def clearly_past(self, z: Floats) -> NDArray[np.bool_]:
        """Whether a metric of the bed is past its action limit as in the cycle before, on the same side.

        Takes the values of one cycle more, the one before the first.
        """
        size = self.individuals.sizes(z)[:, self.bed_keys] > self.individuals.action[self.bed_keys]
        side = np.sign(z[:, self.bed_keys])
        found: NDArray[np.bool_] = (size[1:] & size[:-1] & (side[1:] == side[:-1])).any(1)
        return found

    def single_level(self, z: Floats, smooth: Floats) -> NDArray[np.int64]:
        """Highest level of the individuals and EWMA charts of the bed's metrics, at each of some cycles."""
        frames = ((self.individuals, z), (self.ewma, smooth))
        levels = [Points(frame, value).levels()[:, self.bed_keys] for frame, value in frames]
        return np.asarray(np.concatenate(levels, axis=1).max(1, initial=0))


def build(
    plan: Plan, z: Floats, *, baseline: Baseline, settings: Settings, phi: float, known_sd_worth: Floats
) -> Panel:
    """Limits of all charts for the false-alarm rate of the settings.

    Parameters
    ----------
    plan : Plan
        The series and their parts of the budget.
    z : array
        Standardised values of the baseline cycles [cycles, keys].
    baseline : Baseline
        Centre and spread.
    settings : Settings
        The false-alarm rates.
    phi : float
        Expected autocorrelation.
    known_sd_worth : array
        Degrees of freedom of each series' spread known in advance.
    """
    bed_keys = _bed_keys(baseline, settings)
    worth = max(directions.effective_number(z[:, bed_keys]), 1.0)
    each = np.ones(len(baseline.keys)) / worth

    def limits(chart: Chart, share: Floats, worth: Floats) -> list[Floats]:
        return [
            charts.limit(chart, n / share, baseline_cycles=len(z), phi=phi, known_sd_worth=worth)
            for n in (settings.one_false_alarm_in, settings.action_one_in)
        ]

    found = [
        *limits("individuals", each * SHARES["individuals"], each),
        *limits("ewma", each * SHARES["ewma"], each),
        *limits("change", _shares(plan), known_sd_worth),
    ]
    return with_limits(plan, found, baseline=baseline, settings=settings)


def with_limits(plan: Plan, limits: Sequence[Floats], *, baseline: Baseline, settings: Settings) -> Panel:
    """All charts, given the alert and action limits of individuals, EWMA and change."""
    keys = baseline.keys
    is_bed = np.array([s.role in ("joined", "metric") for s in plan.series], bool)
    others = np.flatnonzero(~is_bed)
    place = {key: i for i, key in enumerate(keys)}
    return Panel(
        individuals=Frame("individuals", keys, baseline, *limits[:2]),
        ewma=Frame("ewma", keys, baseline, *limits[2:4]),
        change=Frame("change", tuple(s.name for s in plan.series), None, *limits[4:]),
        two_sided=_two_sided(plan),
        is_bed=is_bed,
        bed_keys=_bed_keys(baseline, settings),
        others=others,
        other_keys=np.array([place[plan.series[i].name] for i in others], int),
        odd_sd=float(limits[0][0]) if keys else np.inf,
        rarity=-np.log(_shares(plan)),
    )


def _bed_keys(baseline: Baseline, settings: Settings) -> NDArray[np.int64]:
    roles = [directions.role_of(key, settings) for key in baseline.keys]
    return np.array([i for i, role in enumerate(roles) if role == "metric"], int)


def _two_sided(plan: Plan) -> NDArray[np.bool_]:
    return np.array([s.side == "both" for s in plan.series], bool)


def _shares(plan: Plan) -> Floats:
    """Part of the bed's budget that falls to the change of each series, on each of its sides."""
    share: Floats = (
        np.array([s.share for s in plan.series]) * SHARES["change"] / np.where(_two_sided(plan), 2, 1)
    )
    return share
