"""What a bed's pulse test promises of its first runs, by how those of sister beds have agreed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from beadline.science.drift.baseline import Baseline, values_of
from beadline.science.drift.panel import Frame, Points
from beadline.science.drift.prior import Prior, Promise
from beadline.science.drift.reading import Reading, metric_of
from beadline.science.drift.settings import Settings

Floats = NDArray[np.float64]
LEAST_BEDS = 4
# Metric of a pulse test that speaks of a metric of the runs.
OF_THE_PULSE_TEST = {"hetp_moments": "hetp_half_height", "asymmetry": "asymmetry"}
# Part of the false alarms stated for the cycles of a baseline that this chart may give.
SHARE = 0.2
_LEAST_SPREAD = 0.01


@dataclass(frozen=True)
class Pair:
    """What one sister bed's pulse test gave, and the centre of its baseline's runs, in one unit each."""

    pulse: float
    runs: float


def promised(pulse: float, sisters: Sequence[Pair]) -> Promise | None:
    """Say where a bed's first runs are to be expected after its pulse test.

    Parameters
    ----------
    pulse : float
        What the bed's own pulse test gave; above 0.
    sisters : sequence of Pair
        Beds of the same resin and process.

    Returns
    -------
    Promise or None
        None where fewer than 4 sister beds have both.

    Raises
    ------
    ValueError
        If the pulse test's value is not above 0.

    Notes
    -----
    On logarithms, two forecasts are joined: that the ratio of runs to pulse test is that of the sisters, and
    that the runs are those of the sisters whatever the pulse test says. Each weighs by the inverse of its
    variance over the sisters, so that pulse tests which have not gone with the runs count for little. The
    spread of the sisters about the joined forecast, for one further bed, is the uncertainty. Two numbers
    are learnt, so `beds - 2` degrees of freedom are left.

    References
    ----------
    Prediction interval of one further observation: ISO 16269-8:2004 (from memory).

    Examples
    --------
    >>> sisters = [Pair(p, 1.2 * p * f) for p, f in ((2.0, 1.01), (2.4, 0.99), (1.8, 1.02), (2.9, 0.98))]
    >>> found = promised(2.2, sisters)
    >>> round(float(np.exp(found.centre)), 2), found.dof
    (2.64, 2)
    """
    if not pulse > 0:
        raise ValueError(f"The value of a pulse test must be above 0, not {pulse}.")
    usable = [pair for pair in sisters if pair.pulse > 0 and pair.runs > 0]
    if len(usable) < LEAST_BEDS:
        return None
    tests, runs = np.log([[pair.pulse, pair.runs] for pair in usable]).T
    by_ratio, alone = (max(float(np.var(x, ddof=1)), _LEAST_SPREAD**2) for x in (runs - tests, runs))
    weight = (1 / by_ratio) / (1 / by_ratio + 1 / alone)
    rest = runs - weight * tests
    dof = len(usable) - 2
    spread = max(float(np.sqrt(np.sum((rest - rest.mean()) ** 2) / dof)), _LEAST_SPREAD)
    return Promise(
        pulse=pulse,
        centre=float(rest.mean() + weight * np.log(pulse)),
        u=spread * float(np.sqrt(1 + 1 / len(usable))),
        dof=dof,
        beds=len(usable),
        weight=weight,
    )


def frame(prior: Prior, settings: Settings) -> Frame | None:
    """Limits of single runs while the baseline is learnt; None where nothing is promised.

    Notes
    -----
    All cycles of the baseline together give one fifth of the false alarms that the settings state for so many
    cycles, shared over the metrics. As far as a bed's own offset from the promise outweighs the noise of its
    runs, these are one trial rather than many. Student's t, since few beds tell the spread, with the degrees
    of freedom of Welch and Satterthwaite, since the noise of runs is known well.
    """
    keys = tuple(prior.promises)
    if not keys:
        return None
    promises = [prior.promises[key] for key in keys]
    runs = np.array([prior.sd.get(key, 0.0) for key in keys])
    u = np.array([promise.u for promise in promises])
    sides = np.array([2.0 if metric_of(key).side == "both" else 1.0 for key in keys])
    dof = np.array([float(promise.dof) for promise in promises]) * (1 + (runs / u) ** 2) ** 2
    cycles = settings.baseline_cycles
    trials = 1 + (cycles - 1) * runs**2 / (u**2 + runs**2)
    limits = [
        scipy.special.stdtrit(dof, 1 - SHARE * cycles / one_in / len(keys) / sides / trials)
        for one_in in (settings.one_false_alarm_in, settings.action_one_in)
    ]
    centre = np.array([promise.centre for promise in promises])
    known = Baseline((), keys, np.ones(len(keys), bool), centre, np.hypot(u, runs), u, 0.0 * u, 0.0 * u)
    return Frame("start", keys, known, *(np.maximum(limit, 1.0) for limit in limits))


def points(start: Frame, reading: Reading) -> Points:
    """Values of one run against what was promised; nan where it has none."""
    base = start.baseline
    if base is None:
        raise ValueError("The frame has no centre to measure from.")
    row = values_of([reading], base.keys, base.log)[0][0]
    return Points(start, (row - base.centre) / base.sd)
