"""The line under the peak, and the noise about it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy
from numpy.typing import NDArray

from beadline.science.pulse.emg import Fit

Array = NDArray[np.float64]

LEAST_QUIET = 10
CALM, NEARLY_CALM = 1e-3, 5e-3
ROUNDS = 6


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """Noise of a record: standard deviation of each sample, and correlation of neighbours.

    Attributes
    ----------
    sd : ndarray [n]
        Standard deviation of each sample [signal].
    correlation : float
        Correlation of neighbouring samples, 0 to 0.95.
    """

    sd: Array
    correlation: float

    def covariance(self, rows: Array) -> Array:
        """Covariance of linear functionals of the record, given as rows of weights a sample."""
        weighted = rows * self.sd
        bands = np.ones((2, self.sd.size))
        bands[1] = -self.correlation
        ahead = scipy.linalg.solve_banded((1, 0), bands, weighted.T)
        behind = scipy.linalg.solve_banded((0, 1), bands[::-1], weighted.T)
        return np.asarray(weighted @ (ahead + behind - weighted.T))


@dataclass(frozen=True, slots=True, eq=False)
class Baseline:
    """A straight line through the quiet parts of the record.

    Attributes
    ----------
    values : ndarray [n]
        The line [signal].
    quiet : ndarray [n] of bool
        Samples that it was fitted to.
    sides : tuple of bool
        Whether there was quiet signal before and after the peak.
    finished : bool
        False when the quiet part after the peak still holds more than a trace of tail.
    noise_sd, correlation : float
        Noise about the line [signal] and correlation of neighbouring samples.
    operator : ndarray [k, n]
        Line coefficients per unit of each sample.
    design : ndarray [n, k]
        Line per unit of each coefficient.
    """

    values: Array
    quiet: NDArray[np.bool_]
    sides: tuple[bool, bool]
    finished: bool
    noise_sd: float
    correlation: float
    operator: Array
    design: Array

    def through(self, rows: Array) -> Array:
        """Weights on the raw record of functionals given on the record without baseline."""
        return np.asarray(rows - (rows @ self.design) @ self.operator)


def fit(
    volume_m3: Array,
    signal: Array,
    peak: Fit,
    *,
    kind: Literal["linear", "constant"],
    occupied: tuple[int, int] | None = None,
) -> Baseline | None:
    """Fit the baseline outside the peak, giving little weight to samples that stand out.

    Parameters
    ----------
    volume_m3, signal : ndarray
        The record.
    peak : Fit
        First fit of the peak; what it says is left of the tail is taken off the quiet samples.
    kind : {"linear", "constant"}
        A line needs quiet signal on both sides; with one side only, a constant is used.
    occupied : tuple of int, optional
        First and last sample that belong to the peak whatever the fit says.

    Returns
    -------
    Baseline or None
        None when neither side is quiet long enough.

    Notes
    -----
    Weights are Tukey's biweight with 4.685 standard deviations, so a bubble or a slow disturbance in
    a quiet part doesn't pull the line.
    """
    shape = peak.peak(volume_m3)
    top = float(np.max(shape))
    quiet, sides, finished = _quiet(shape, top, float(np.median(np.abs(peak.residual))) * 1.4826, occupied)
    if not any(sides):
        return None
    reference = (volume_m3 - volume_m3[0]) / (volume_m3[-1] - volume_m3[0]) - 0.5
    columns = [np.ones_like(reference)]
    if kind == "linear" and all(sides):
        columns.append(reference)
    design = np.column_stack(columns)
    operator, weights, residual = _robust(design, signal - shape, quiet)
    kept = quiet & (weights > 0)
    freedom = max(int(np.count_nonzero(kept)) - design.shape[1], 1)
    spread = float(np.sqrt(np.sum(residual[kept] ** 2) / freedom))
    noise = float(np.hypot(spread, resolution(signal) / np.sqrt(12))) if spread > 0 else 0.0
    return Baseline(
        values=signal - shape - residual,
        quiet=quiet,
        sides=sides,
        finished=finished,
        noise_sd=noise,
        correlation=_correlation(residual, kept),
        operator=operator,
        design=design,
    )


def resolution(signal: Array) -> float:
    """Smallest step between recorded values [signal]; 0 for a constant record."""
    steps = np.diff(np.unique(signal))
    return float(steps.min()) if steps.size else 0.0


def _quiet(
    shape: Array, top: float, noise: float, occupied: tuple[int, int] | None
) -> tuple[NDArray[np.bool_], tuple[bool, bool], bool]:
    """Samples where the fitted peak is gone, judged on each side of its apex."""
    apex = int(np.argmax(shape))
    places = np.arange(shape.size)
    before = places < apex
    free = np.ones(shape.size, dtype=bool)
    if occupied:
        free = (places < occupied[0]) | (places > occupied[1])
    fine = max(1e-6 * top, min(0.1 * noise, CALM * top))
    quiet = np.zeros(shape.size, dtype=bool)
    sides, finished = [False, False], True
    for side, part in enumerate((before, ~before)):
        for level in (fine, CALM * top, NEARLY_CALM * top):
            found = part & free & (shape < level)
            if np.count_nonzero(found) >= LEAST_QUIET:
                quiet |= found
                sides[side] = True
                finished = finished and level <= CALM * top
                break
    return quiet, (sides[0], sides[1]), finished


def _robust(design: Array, signal: Array, quiet: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
    """Iteratively weighted least squares; returns the operator, the weights and the residual."""
    weights = quiet.astype(np.float64)
    for _ in range(ROUNDS):
        weighted = design * weights[:, None]
        operator = np.linalg.pinv(weighted.T @ design) @ weighted.T
        residual = signal - design @ (operator @ signal)
        scale = 1.4826 * float(np.median(np.abs(residual[quiet])))
        floor = 1e-12 * float(np.max(np.abs(signal)))
        u = residual / (4.685 * max(scale, floor, np.finfo(float).tiny))
        weights = np.where(quiet & (np.abs(u) < 1), (1 - np.minimum(np.abs(u), 1) ** 2) ** 2, 0.0)
    return operator, weights, residual


def _correlation(residual: Array, kept: NDArray[np.bool_]) -> float:
    """Correlation of neighbouring quiet samples; 0 when it can't be told from none."""
    pairs = kept[:-1] & kept[1:]
    count = int(np.count_nonzero(pairs))
    power = float(np.sum(residual[kept] ** 2))
    if count < LEAST_QUIET or power <= 0:
        return 0.0
    lag = float(np.sum(residual[:-1][pairs] * residual[1:][pairs])) / count
    found = lag / (power / np.count_nonzero(kept)) + 1 / count
    return float(np.clip(found, 0, 0.95)) if found > 2 / np.sqrt(count) else 0.0
