"""Simulated lives of beds for the tests of drift."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from beadline.science import drift
from beadline.science.estimates import Estimate

Floats = NDArray[np.float64]
CENTRES: Mapping[str, float] = {
    "hetp_moments": 3e-4,
    "asymmetry": 1.1,
    "mean_cv": 0.9,
    "variance_cv2": 0.01,
    "skewness": 0.3,
    "v10_cv": 0.8,
    "v90_cv": 1.1,
    "width_10_90_cv": 0.3,
    "early_foot": 0.05,
    "late_tail": 0.1,
    "step_height": 50.0,
    "plateau_before": 10.0,
}
SPREAD = 0.02


def autocorrelated(cycles: int, series: int, *, phi: float, rng: np.random.Generator) -> Floats:
    """Stationary series of unit spread [cycles, series]."""
    y = rng.standard_normal((cycles, series))
    for t in range(1, cycles):
        y[t] = phi * y[t - 1] + np.sqrt(1 - phi**2) * y[t]
    return y


def readings(
    cycles: int,
    *,
    seed: int,
    phi: float = 0.3,
    metrics: Sequence[str] = tuple(CENTRES),
    transitions: Sequence[str] = ("wash", "strip", "sanitise"),
    shift: Callable[[int, str, str], float] = lambda cycle, transition, metric: 0.0,
) -> list[drift.Reading]:
    """A life with independent noise; `shift` adds to it, in standard deviations."""
    keys = [(t, m) for t in transitions for m in metrics]
    y = autocorrelated(cycles, len(keys), phi=phi, rng=np.random.default_rng(seed))
    found = []
    for c in range(1, cycles + 1):
        values = {}
        for (transition, metric), noise in zip(keys, y[c - 1], strict=True):
            centre = CENTRES[metric]
            value = centre * (1 + SPREAD * (noise + shift(c, transition, metric)))
            values[f"{transition}/{metric}"] = Estimate(float(value), 0.2 * SPREAD * centre)
        found.append(drift.Reading(c, values))
    return found
