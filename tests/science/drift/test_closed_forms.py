"""The statistics of the charts against closed forms and another library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from beadline.science import drift
from beadline.science.drift import shape
from beadline.science.drift.reading import Reading

GRID = np.linspace(-4.0, 4.0, 81)
FRONT = 1 / (1 + np.exp(-2.5 * GRID))
FOOT = np.exp(-0.5 * ((GRID + 2.0) / 0.4) ** 2)
TAIL = -np.exp(-0.5 * ((GRID - 2.2) / 0.4) ** 2)


def curves(count, rng, *, noise=0.0):
    """Curves that vary in two ways ahead of and behind the middle, which stays where it is."""
    heights = rng.normal(0.0, [0.004, 0.003], (count, 2))
    quiet = np.abs(GRID) > 0.6  # the 50 % point, by which curves are laid over each other, is left alone
    return FRONT + heights @ np.array([FOOT, TAIL]) + rng.normal(0.0, noise, (count, len(GRID))) * quiet


def measured(baseline, later):
    found, _ = shape.learn([Reading(k, {}, {"wash": curve}) for k, curve in enumerate(baseline)])
    return [found.models["wash"].measured(curve) for curve in later]


@pytest.mark.parametrize("m", [15, 30])
def test_t2_of_later_curves_follows_hotelling(m):
    """For p ways learnt from m curves T2 is p(m+1)(m-1)/(m(m-p)) F(p, m-p).

    Tracy, Young and Mason, J. Quality Technology 24 (1992) 88 (from memory). The median stands for the mean
    here, which widens it by about 1/(2m).
    """
    rng = np.random.default_rng(8)
    found = np.concatenate(
        [
            [one["curve_scores"] for one in measured(curves(m, rng, noise=1e-6), curves(12, rng, noise=1e-6))]
            for _ in range(150)
        ]
    )
    scale = 2 * (m + 1) * (m - 1) / (m * (m - 2))
    for share in (0.5, 0.9):
        assert np.quantile(found, share) == pytest.approx(scale * stats.f.ppf(share, 2, m - 2), rel=0.12)


def test_the_residual_follows_jackson_and_mudholkar():
    """Limit of Q for equal small variances, Technometrics 21 (1979) 341, eq. 3.5 (from memory).

    From many curves, since the median that stands for their mean adds what it is off by.
    """
    rng, noise = np.random.default_rng(9), 1e-4
    found = [
        one["curve_residual"]
        for one in measured(curves(240, rng, noise=noise), curves(500, rng, noise=noise))
    ]
    free = int(np.count_nonzero(np.abs(GRID) > 0.6)) - 3  # two ways and the stretch are taken out
    first, second, third = (free * noise ** (2 * k) for k in (1, 2, 3))
    power = 1 - 2 * first * third / (3 * second**2)
    bulge = 1 + second * power * (power - 1) / first**2
    for share in (0.5, 0.95):
        spread = stats.norm.ppf(share) * np.sqrt(2 * second * power**2) / first
        assert np.quantile(found, share) == pytest.approx(first * (spread + bulge) ** (1 / power), rel=0.1)


@pytest.mark.parametrize("seed", range(8))
def test_a_trend_is_seen_where_mann_and_kendall_see_it_and_as_steep_as_theil_and_sen(seed):
    """Both as scipy has them (kendalltau, theilslopes), on white noise of unit spread."""
    rng, x = np.random.default_rng(seed), np.arange(1, 41)
    rising, flat = 0.08 * x + rng.standard_normal(40), rng.standard_normal(40)
    found = {
        name: drift.forecast(x.tolist(), y.tolist(), key="x/skewness", limits=drift.FixedLimits(), phi=0.0)
        for name, y in (("rising", rising), ("flat", flat))
    }
    assert stats.kendalltau(x, rising).pvalue < 1e-3
    assert found["rising"].steady
    sen = stats.theilslopes(rising, x, 0.99)
    assert sen.low_slope < found["rising"].slope < 1.4 * sen.high_slope  # later cycles may count for more
    assert found["flat"].steady <= (stats.kendalltau(x, flat).pvalue < 0.05)
