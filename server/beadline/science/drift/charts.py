"""Individuals and EWMA charts of single keys, and the limits of every chart."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import thresholds

Floats = NDArray[np.float64]
Chart = Literal["individuals", "ewma", "change", "start"]
Level = Literal["", "alert", "action"]
EWMA_WEIGHT = 0.2


@dataclass(frozen=True)
class ChartReading:
    """One point of one chart with the limits that stood at that cycle.

    Attributes
    ----------
    key : str
        Key of the value, or name of a joined direction.
    chart : {"individuals", "ewma", "change", "start"}
        Which chart.
    value, centre : float
        In the metric's own unit; for change the logarithm of a likelihood ratio.
    alert_low, alert_high, action_low, action_high : float or None
        Limits in the same unit; None where the chart has none on that side.
    level : {"", "alert", "action"}
        Which of the limits the value is strictly beyond.
    """

    key: str
    chart: Chart
    value: float
    centre: float
    alert_low: float | None
    alert_high: float | None
    action_low: float | None
    action_high: float | None
    level: Level


def smoothed(before: Floats, z: Floats) -> Floats:
    """Next value of an EWMA; a missing cycle leaves it as it was, one cycle counts for at most 3.5 sd.

    Examples
    --------
    >>> round(float(smoothed(np.array([0.0]), np.array([10.0]))[0]), 6)
    0.7
    """
    step = np.clip(np.where(np.isnan(z), before, z), -3.5, 3.5)
    after: Floats = (1 - EWMA_WEIGHT) * before + EWMA_WEIGHT * step
    return after


def ewma_sd(baseline_cycles: int, *, phi: float) -> float:
    """Spread of an EWMA about a centre learnt from few autocorrelated cycles [baseline sd].

    References
    ----------
    Schmid, W. (1997), On EWMA charts for time series, Frontiers in Statistical Quality Control 5: variance of
    the EWMA of a first-order autoregression (from memory; checked by simulation in the tests).

    Examples
    --------
    >>> round(ewma_sd(10**9, phi=0.0), 4)
    0.3333
    """
    weight = EWMA_WEIGHT
    own = weight / (2 - weight) * (1 + phi * (1 - weight)) / (1 - phi * (1 - weight))
    return float(np.sqrt(own + (1 + phi) / (1 - phi) / baseline_cycles))


def limit(
    chart: Chart,
    one_in: float | Floats,
    *,
    baseline_cycles: int,
    phi: float,
    known_sd_worth: float | Floats = 0.0,
) -> Floats:
    """Limit that a steady series passes once in so many cycles.

    Parameters
    ----------
    chart : {"individuals", "ewma", "change"}
        Two-sided for the first two [baseline sd], one-sided for change [log likelihood ratio].
    one_in : float or array
        Cycles per false alarm.
    baseline_cycles : int
        Cycles behind centre and spread.
    phi : float
        Expected autocorrelation.
    known_sd_worth : float or array
        Degrees of freedom of a spread known in advance; used for change.

    Notes
    -----
    Between tabulated values the limit is linear in the logarithm of the rate; it is continued so beyond them.

    Examples
    --------
    >>> alert, action = limit("change", np.array([450.0, 4500.0]), baseline_cycles=15, phi=0.3)
    >>> bool(action > alert)
    True
    """
    if chart == "change":
        alone, known = (
            _by_rate(
                np.array([np.interp(phi, thresholds.PHIS, column) for column in np.array(table).T]), one_in
            )
            for table in (thresholds.CHANGE, thresholds.CHANGE_KNOWN)
        )
        most = thresholds.KNOWN_WORTH / (thresholds.KNOWN_WORTH + 14)
        part = np.minimum(np.asarray(known_sd_worth) / (np.asarray(known_sd_worth) + 14) / most, 1.0)
        mixed: Floats = alone + part * (known - alone)
        return mixed
    table = np.array(thresholds.INDIVIDUALS if chart == "individuals" else thresholds.EWMA)
    part = -1 / np.array(thresholds.BASELINES, float)
    row = np.array([np.interp(-1 / baseline_cycles, part, column) for column in table.T])
    found = _by_rate(row, one_in)
    return found * ewma_sd(baseline_cycles, phi=phi) if chart == "ewma" else found


def _by_rate(row: Floats, one_in: float | Floats) -> Floats:
    known, wanted = np.log(np.array(thresholds.ONE_IN, float)), np.log(np.asarray(one_in, float))
    inside = np.interp(wanted, known, row)
    above = row[-1] + (wanted - known[-1]) * (row[-1] - row[-4]) / (known[-1] - known[-4])
    below = row[0] + (wanted - known[0]) * (row[1] - row[0]) / (known[1] - known[0])
    found: Floats = np.where(wanted > known[-1], above, np.where(wanted < known[0], below, inside))
    return found
