"""Forecasts: coverage on simulated lives, sudden changes, odd values, wrong input."""

from __future__ import annotations

import numpy as np
import pytest
from tests.benchmarks import forecast as benchmark
from tests.science.drift import lives

from beadline.science import drift
from beadline.science.drift import changes


def passage(mean: np.ndarray, seed: int, *, now: int, limit: float) -> tuple[drift.Forecast, float]:
    y = mean + lives.autocorrelated(len(mean), 1, phi=0.3, rng=np.random.default_rng(seed))[:, 0]
    found = drift.forecast(
        range(1, now + 1),
        y[:now],
        key="x/skewness",
        limits=drift.FixedLimits(action_high=limit),
        phi=0.3,
    )
    return found, float((y[now:] > limit).argmax() + 1)


def covered(lives_count: int) -> float:
    inside = []
    for seed in range(lives_count):
        slope, begin = (0.1, 20) if seed % 2 else (0.06, 0)
        mean = slope * np.maximum(np.arange(400) - begin, 0)
        found, truth = passage(mean, seed, now=55, limit=8.0)
        if found.limits:
            limit = found.limits[0]
            inside.append((limit.low or 0) <= truth <= (limit.high or np.inf))
    return float(np.mean(inside))


def test_the_interval_covers_what_comes():
    assert 0.65 <= covered(60) <= 0.97


@pytest.mark.slow
def test_the_interval_covers_what_comes_in_70_to_90_of_100_lives():
    assert 0.70 <= covered(400) <= 0.92


def test_the_interval_covers_what_comes_to_clogging_beds():
    found = [o for seed in range(20) for o in benchmark.outcomes(benchmark.clogging_life(seed), (45, 60))]
    share, count = benchmark.coverage(found)
    assert count >= 30
    assert 0.65 <= share <= 0.97


@pytest.mark.slow
def test_the_interval_covers_what_comes_to_simulated_beds():
    found = [outcome for seed in range(12) for outcome in benchmark.outcomes(benchmark.life(seed))]
    share, count = benchmark.coverage(found)
    assert count >= 60
    assert 0.70 <= share <= 0.90


def test_a_sudden_change_is_no_trend():
    mean = 4.0 * (np.arange(400) >= 35)
    assert sum(passage(mean, seed, now=60, limit=12.0)[0].steady for seed in range(30)) <= 8


def test_an_odd_last_value_does_not_make_a_trend():
    trends = 0
    for seed in range(20):
        y = lives.autocorrelated(40, 1, phi=0.0, rng=np.random.default_rng(seed))[:, 0]
        y[-1] = 50.0
        limits = drift.FixedLimits()
        trends += drift.forecast(range(40), y, key="x/skewness", limits=limits, phi=0.0).steady
    assert trends <= 3


def test_the_same_input_gives_the_same_forecast():
    mean = 0.1 * np.arange(400)
    assert passage(mean, 3, now=50, limit=9.0) == passage(mean, 3, now=50, limit=9.0)


def test_cycles_must_rise():
    with pytest.raises(ValueError, match="cycles must rise"):
        drift.forecast([1, 1], [0.1, 0.2], key="x/skewness", limits=drift.FixedLimits(), phi=0.0)


def test_few_cycles_say_nothing():
    found = drift.forecast(range(5), [1.0] * 5, key="x/skewness", limits=drift.FixedLimits(), phi=0.0)
    assert "fewer than 12" in found.sentence


@pytest.mark.parametrize("phi", [0.0, 0.3])
@pytest.mark.parametrize("kind", ["step", "ramp"])
def test_cumulated_sums_equal_the_regression_of_each_change(phi: float, kind: changes.Kind):
    """Generalised least squares by numpy, one change at a time, with gaps in the cycle numbers."""
    rng = np.random.default_rng(4)
    x = np.cumsum(rng.integers(1, 3, 40)).astype(float)
    y = 0.05 * x + rng.standard_normal(40)
    found = changes.regressed(x, y, phi=phi, kind=kind)
    root = np.eye(40) - phi * np.eye(40, k=-1)
    root[0, 0] = np.sqrt(1 - phi**2)
    for k in range(3, 34):
        change = (np.arange(40) >= k) * (1.0 if kind == "step" else x - x[k])
        size, rest, *_ = np.linalg.lstsq(root @ np.column_stack([np.ones(40), change]), root @ y, rcond=None)
        assert found.size[k] == pytest.approx(size[1], rel=1e-9)
        assert found.whole - found.size[k] ** 2 * found.weight[k] == pytest.approx(rest[0], rel=1e-9)


def test_a_bed_looks_ahead_the_same_from_its_stored_state():
    shift = lambda cycle, transition, metric: 0.12 * max(cycle - 20, 0)  # noqa: E731
    history = lives.readings(
        60, seed=4, metrics=("hetp_moments", "asymmetry"), transitions=("wash",), shift=shift
    )
    state = drift.replay(history, drift.Settings()).state
    keys = ("wash/hetp_moments", "wash/asymmetry", "wash/not_measured")
    found = drift.outlook(state, keys)
    assert drift.outlook(drift.State.from_dict(state.to_dict()), keys) == found
    assert [(one.key, one.trend, one.rising) for one in found] == [
        (k, "steady trend", True) for k in keys[:2]
    ]


def test_a_limit_by_procedure_goes_before_that_of_the_chart():
    fixed = {"wash/asymmetry": drift.FixedLimits(action_high=1.0)}
    history = lives.readings(30, seed=3, metrics=("asymmetry", "skewness"), transitions=("wash",))
    found = drift.outlook(drift.replay(history, drift.Settings(fixed_limits=fixed)).state, ["wash/asymmetry"])
    assert found[0].reached == ("action_high",)
