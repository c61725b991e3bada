"""A fast path and a slow tail at once: each hides the other from a fit that looks for one.

The curve is built here, without the project's model. A path is an inverse Gaussian (dispersion with open
outlet; Levenspiel, Chemical Reaction Engineering, 3rd ed., chapter 13: variance mean**3/lambda), a share of
the flow takes a path of its own, and a share passes a stirred volume (same book, chapter 12: an exponential,
which adds tau to the mean and tau**2 to the variance). Moments of mixtures and of stages in series are exact.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy import stats

from beadline.science import transition

STEP = 0.004
VOLUME = np.arange(-0.4, 2.6, STEP)
MEAN, VARIANCE = 0.93, 0.00148
SHARE_FAST, FAST, SHARE_SLOW = 0.03, 0.72, 0.05
LAMBDA = MEAN**3 / VARIANCE


def path(place: float) -> stats.rv_continuous:
    return stats.invgauss(place * MEAN / LAMBDA, scale=LAMBDA)


def front(tau: float) -> np.ndarray:
    """Step response of the three shares."""
    ahead = np.maximum(VOLUME, 1e-9)
    paths = (1 - SHARE_FAST) * path(1.0).cdf(ahead) + SHARE_FAST * path(FAST).cdf(ahead)
    kernel = np.exp(-np.arange(0.0, 12 * tau, STEP) / tau)
    held_up = np.convolve(paths, kernel / kernel.sum())[: paths.size]
    return (1 - SHARE_SLOW) * paths + SHARE_SLOW * held_up


def moments(tau: float) -> tuple[float, float]:
    """Mean and variance of the same mixture, by hand."""
    tau = STEP / np.expm1(STEP / tau)  # mean of the sampled exponential
    spread = tau**2 + tau * STEP  # and its variance
    found = []
    for fast, slow in itertools.product((False, True), (False, True)):
        weight = (SHARE_FAST if fast else 1 - SHARE_FAST) * (SHARE_SLOW if slow else 1 - SHARE_SLOW)
        mean, variance = path(FAST if fast else 1.0).stats()
        found.append((weight, float(mean) + slow * tau, float(variance) + slow * spread))
    mean = sum(w * m for w, m, _ in found)
    return mean, sum(w * (s + (m - mean) ** 2) for w, m, s in found)


@pytest.mark.parametrize("tau", [0.1, 0.2])
@pytest.mark.parametrize("noise", [0.0005, 0.004])
def test_a_fast_path_and_a_tail_are_both_seen(tau: float, noise: float):
    mean, variance = moments(tau)
    away = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        signal = 5 + 80 * (front(tau) + noise * rng.normal(size=VOLUME.size))
        result = transition.analyse(VOLUME * 1e-3, signal, bed_volume_m3=1e-3, bed_height_m=0.2)
        found = result.estimates
        assert found["mean_cv"].value == pytest.approx(mean, abs=max(4 * found["mean_cv"].u, 5e-4))
        assert found["variance_cv2"].value == pytest.approx(variance, rel=0.25)
        away.append((found["variance_cv2"].value - variance) / found["variance_cv2"].u)
    assert np.sqrt(np.mean(np.square(away))) < 2.5


def test_a_fast_path_makes_the_plates_worse_whatever_the_tail():
    """A tail alone, then a fast path beside it: HETP has to rise (it once fell, when the tail was lost)."""
    rng = np.random.default_rng(5)
    noise = 0.0006 * rng.normal(size=VOLUME.size)
    ahead = np.maximum(VOLUME, 1e-9)
    kernel = np.exp(-np.arange(0.0, 1.8, STEP) / 0.15)
    alone = path(1.0).cdf(ahead)
    held_up = np.convolve(alone, kernel / kernel.sum())[: alone.size]
    before = (1 - SHARE_SLOW) * alone + SHARE_SLOW * held_up
    heights = [
        transition.analyse(VOLUME * 1e-3, 80 * curve + noise, bed_volume_m3=1e-3, bed_height_m=0.2).estimates[
            "hetp_moments"
        ]
        for curve in (before, front(0.15))
    ]
    assert heights[1].value > 1.15 * heights[0].value
