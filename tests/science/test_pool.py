"""The pool against quantiles of known peaks."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx
from scipy import stats

from beadline.science import pool

TABLE = json.loads((Path(__file__).parent / "reference" / "pool_volume.json").read_text())["cases"]
GRID = np.linspace(0, 2, 161)


def _curve(
    sigma: float, tau_over_sigma: float = 0.0, grid: np.ndarray = GRID, mean: float = 0.8
) -> pool.OutletCurve:
    if tau_over_sigma == 0:
        return pool.OutletCurve(grid, stats.norm.cdf(grid, mean, sigma))
    return pool.OutletCurve(grid, stats.exponnorm.cdf(grid, tau_over_sigma, loc=mean, scale=sigma))


@pytest.mark.parametrize("case", TABLE, ids=lambda case: case["id"])
def test_holding_volumes_of_tailing_peaks(case):
    """Quantiles of the exponentially modified Gaussian to 30 digits, on a fine grid and on the stored one."""
    ratio = case["inputs"]["tau_over_sigma"]
    total = (1 + ratio**2) ** 0.5
    for share, name in ((0.95, "V95"), (0.99, "V99"), (0.999, "V999")):
        expected = case["expected"][f"{name}_over_sigma_total"]
        fine = _curve(0.05, ratio, np.linspace(0, 3, 6001), mean=0.5)
        assert pool.holding_volume(fine, share=share).value / (0.05 * total) == approx(expected, rel=2e-4)
        stored = _curve(0.05, ratio, np.linspace(0, 3, 241), mean=0.5)
        assert pool.holding_volume(stored, share=share).value / (0.05 * total) == approx(expected, rel=0.01)


@pytest.mark.parametrize(
    "case", [c for c in TABLE if c["inputs"]["As10"] in (1.4, 1.8, 2.5)], ids=lambda c: c["id"]
)
def test_growth_over_a_symmetric_bed_of_equal_variance(case):
    ratio = case["inputs"]["tau_over_sigma"]
    grid = np.linspace(0, 3, 6001)
    tailing = _curve(0.05 / (1 + ratio**2) ** 0.5, ratio, grid)
    seen = pool.compare(tailing, _curve(0.05, grid=grid))
    expected = case["expected"]["V99_growth_at_constant_moment_N"]
    assert seen.holdings[1].growth.value == approx(expected, rel=5e-4)


def test_a_tank_of_100_l_that_needs_110_is_foreseen():
    """Spread up by a tenth: 100 L become 110 L. What still fits is known in closed form."""
    seen = pool.compare(_curve(0.055), _curve(0.05), pool_m3=0.1, tank_m3=0.1)
    middle = seen.holdings[1]
    assert middle.pool_m3.value * 1e3 == approx(110, abs=0.3)
    assert middle.overflows
    assert seen.held_by_tank == approx(2 * stats.norm.cdf(stats.norm.ppf(0.995) / 1.1) - 1, abs=5e-4)
    assert "110 L" in seen.doubts[0].sentence
    roomy = pool.compare(_curve(0.055), _curve(0.05), pool_m3=0.1, tank_m3=0.12)
    assert not any(holding.overflows for holding in roomy.holdings)
    assert roomy.doubts == ()


@pytest.mark.parametrize("band", [0.1, 0.4])
def test_a_band_of_its_own_dampens_the_growth(band):
    """A uniform band convolved with a Gaussian: quantiles by root finding on the closed form."""
    grid = np.linspace(0, 3, 3001)
    found = pool.holding_volume(_curve(0.05, grid=grid), share=0.99, band_cv=band).value

    def released(volume: float) -> float:
        z = (volume - 0.8) / 0.05, (volume - band - 0.8) / 0.05
        total = [x * stats.norm.cdf(x) + stats.norm.pdf(x) for x in z]
        return 0.05 * (total[0] - total[1]) / band

    from scipy import optimize

    ends = [optimize.brentq(lambda v, level=level: released(v) - level, 0.4, 2) for level in (0.005, 0.995)]
    assert found == approx(ends[1] - ends[0], rel=1e-3)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(sigma=st.floats(0.03, 0.12), wider=st.floats(1.0, 2.0), share=st.sampled_from(pool.SHARES))
def test_a_wider_bed_never_needs_less(sigma, wider, share):
    seen = pool.compare(_curve(sigma * wider), _curve(sigma), shares=(share,))
    assert seen.holdings[0].growth.value >= 1 - 1e-9
    assert seen.holdings[0].growth.value == approx(wider, rel=0.02)


def test_uncertainty_follows_the_noise_and_a_lost_tail_is_told():
    now = pool.OutletCurve(GRID, _curve(0.05).fraction, fraction_u=2e-3)
    seen = pool.compare(now, _curve(0.05))
    us = [holding.now_cv.u for holding in seen.holdings]
    assert us[0] < us[1] < us[2]
    assert "tail_in_noise" in [doubt.code for doubt in seen.doubts]


def test_noise_in_the_curve_is_covered():
    """Isotonic smoothing of independent noise: 95 % holding volume within 2 u nearly always."""
    rng, truth = np.random.default_rng(4), pool.holding_volume(_curve(0.08), share=0.95).value
    inside = []
    for _ in range(200):
        noisy = _curve(0.08).fraction + rng.normal(0, 2e-3, GRID.size)
        found = pool.holding_volume(pool.OutletCurve(GRID, noisy, 2e-3), share=0.95)
        inside.append(abs(found.value - truth) < 2 * found.u)
    assert np.mean(inside) > 0.9


@pytest.mark.parametrize(
    ("wrong", "match"),
    [
        (lambda: pool.OutletCurve(GRID[::-1], GRID), "must rise"),
        (lambda: pool.OutletCurve(GRID, GRID[:-1]), "one length"),
        (lambda: pool.OutletCurve(GRID, GRID * np.nan), "finite"),
        (lambda: pool.from_pulse(GRID, 0 * GRID), "area"),
        (lambda: pool.holding_volume(_curve(0.05), share=1.0), "share"),
        (lambda: pool.holding_volume(pool.OutletCurve(GRID, GRID / 4), share=0.95), "can't hold"),
        (lambda: pool.compare(_curve(0.05), _curve(0.05), pool_m3=0.0), "pool_m3"),
    ],
)
def test_what_isnt_a_curve_is_refused(wrong, match):
    with pytest.raises(ValueError, match=match):
        wrong()
