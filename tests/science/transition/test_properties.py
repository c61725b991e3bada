"""What must hold for every record: invariances, finite answers, uncertainties that cover the truth."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from tests.science.transition import simulated

from beadline.science import metrics, transition

calm = settings(
    derandomize=True, deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow]
)
seeds = st.integers(0, 2**32 - 1)
SHAPE = ("hetp_moments", "asymmetry", "mean_cv", "variance_cv2", "skewness", "v10_cv", "v90_cv", "early_foot")


def noisy(seed, **plant):
    rng = np.random.default_rng(seed)
    front = simulated.any_front(rng)
    return simulated.trace(front, simulated.Plant(**({"points": 250, "noise": 0.004} | plant)), rng)


def read(volume, signal, *, bed_volume_m3=1.0):
    return transition.analyse(volume, signal, bed_volume_m3=bed_volume_m3, bed_height_m=0.2)


def same(first, second, names=SHAPE, rel=1e-3):
    assert first.usable == second.usable
    for name in names:
        if name in first.estimates:
            one, two = first.estimates[name], second.estimates[name]
            assert one.value == pytest.approx(two.value, rel=rel, abs=0.05 * one.u + 1e-9)


@calm
@given(seed=seeds, gain=st.floats(1e-3, 1e3), offset=st.floats(-50, 50))
def test_gain_and_zero_of_the_detector_dont_matter(seed, gain, offset):
    v, y = noisy(seed)
    same(read(v, y), read(v, gain * (y + offset)))


@calm
@given(seed=seeds)
def test_up_and_down_read_alike(seed):
    v, y = noisy(seed)
    up, down = read(v, y), read(v, -y)
    assert (up.direction, down.direction) == ("up", "down")
    same(up, down)


@calm
@given(seed=seeds, size=st.floats(1e-6, 10.0))
def test_size_of_the_bed_doesnt_matter(seed, size):
    v, y = noisy(seed)
    same(read(v, y), read(v * size, y, bed_volume_m3=size))


@calm
@given(seed=seeds, later=st.floats(-0.15, 0.2))
def test_a_later_switch_moves_the_mean_and_nothing_else(seed, later):
    v, y = noisy(seed)
    first, moved = read(v, y), read(v + later, y)
    same(first, moved, names=("variance_cv2", "skewness", "asymmetry", "early_foot"))
    shift = moved.estimates["mean_cv"].value - first.estimates["mean_cv"].value
    assert shift == pytest.approx(later, abs=1e-4)


@calm
@given(seed=seeds)
def test_order_of_the_rows_doesnt_matter(seed):
    v, y = noisy(seed)
    order = np.random.default_rng(seed).permutation(v.size)
    same(read(v, y), read(v[order], y[order]))


def all_finite(result):
    for estimate in result.estimates.values():
        assert np.isfinite(estimate.value)
        assert np.isfinite(estimate.u)
        assert estimate.u > 0
    for curve in (result.grid_cv, result.fraction, result.density_per_cv):
        assert curve.shape == (161,)
        assert np.all(np.isfinite(curve))
    for shown in result.working.values():
        assert np.all(np.isfinite(shown))
    named = {metric.name for metric in metrics.TRANSITION}
    assert set(result.estimates) | set(result.withheld) == named
    assert not set(result.estimates) & set(result.withheld)
    assert result.usable or result.doubts


anything = st.floats(allow_nan=True, allow_infinity=True, width=64)


@settings(derandomize=True, deadline=None, max_examples=300)
@given(data=st.data(), size=st.integers(0, 60))
def test_any_content_gives_an_answer(data, size):
    v = data.draw(hnp.arrays(float, size, elements=anything))
    y = data.draw(hnp.arrays(float, size, elements=anything))
    all_finite(read(v, y))


@settings(derandomize=True, deadline=None, max_examples=200)
@given(data=st.data(), size=st.integers(15, 120), kind=st.sampled_from(["steps", "near", "walk", "wave"]))
def test_odd_signals_on_a_sound_axis_give_an_answer(data, size, kind):
    v = np.linspace(-0.2, 2.0, size)
    rng = np.random.default_rng(data.draw(seeds))
    if kind == "steps":
        y = rng.choice([0.0, 1.0, 2.0, np.nan], size, p=[0.4, 0.4, 0.1, 0.1])
    elif kind == "near":
        y = np.where(v > rng.uniform(0, 2), 1.0, 0.0) + rng.choice([0.0, 1e-12, 0.05]) * rng.normal(size=size)
    elif kind == "walk":
        y = np.cumsum(rng.normal(size=size))
    else:
        y = 10.0 ** rng.uniform(-300, 300) * np.sin(v * rng.uniform(0.1, 60))
    all_finite(read(v, y))


@settings(derandomize=True, deadline=None, max_examples=60)
@given(seed=seeds)
def test_dirty_records_give_an_answer(seed):
    for dirty in simulated.dirty_set(1, seed=seed % 10_000):
        all_finite(read(*simulated.trace(dirty.front, dirty.plant, np.random.default_rng(seed))))


COVERED = (
    "mean_cv",
    "variance_cv2",
    "hetp_moments",
    "hetp_width",
    "asymmetry",
    "skewness",
    "v10_cv",
    "v50_cv",
    "v90_cv",
    "width_10_90_cv",
    "steepest_slope_per_cv",
)


def coverage(front, plant, *, repeats, seed):
    """Share of repeats whose truth lies within 1 u and within 2 u, a metric each."""
    rng, truth = np.random.default_rng(seed), front.truth()
    away = {name: [] for name in COVERED}
    for _ in range(repeats):
        found = read(*simulated.trace(front, plant, rng)).estimates
        for name in COVERED:
            if name in found:
                away[name].append(abs(found[name].value - truth[name]) / found[name].u)
    return {name: (np.mean(np.array(z) < 1), np.mean(np.array(z) < 2)) for name, z in away.items()}


@pytest.mark.parametrize("front", simulated.FRONTS[:3], ids=lambda front: front.name)
def test_uncertainty_covers_the_truth(front):
    shares = coverage(front, simulated.Plant(points=300, noise=0.01), repeats=60, seed=11)
    within = np.array(list(shares.values()))
    assert 0.60 < within[:, 0].mean() < 0.78
    assert 0.90 < within[:, 1].mean() < 0.99


@pytest.mark.slow
@pytest.mark.parametrize("front", simulated.FRONTS, ids=lambda front: front.name)
@pytest.mark.parametrize("noise", [0.002, 0.01])
def test_uncertainty_covers_the_truth_of_every_front(front, noise):
    shares = coverage(front, simulated.Plant(points=300, noise=noise), repeats=300, seed=12)
    within = np.array(list(shares.values()))
    assert 0.58 < within[:, 0].mean() < 0.78
    assert 0.88 < within[:, 1].mean() < 0.99


def covered_of_dirty(records):
    """Shares of dirty records whose truth lies within 1 u and within 2 u, a metric each."""
    away = {name: [] for name in COVERED}
    for dirty in records:
        found = read(*simulated.trace(dirty.front, dirty.plant, np.random.default_rng(dirty.seed))).estimates
        for name in COVERED:
            if name in found:
                away[name].append(abs(found[name].value - dirty.truth[name]) / found[name].u)
    return np.array([(np.mean(np.array(z) < 1), np.mean(np.array(z) < 2)) for z in away.values()])


@pytest.mark.slow
def test_uncertainty_covers_the_truth_of_dirty_records():
    """Rounded, held, red, gappy and spiky records of every front: no metric is far from what u says."""
    shares = covered_of_dirty(simulated.dirty_set(500, seed=7))
    assert np.all((shares[:, 0] > 0.58) & (shares[:, 0] < 0.78))
    assert np.all((shares[:, 1] > 0.87) & (shares[:, 1] < 0.98))


@pytest.mark.parametrize(
    "dirt", [{"quantum": 0.005, "noise": 0.0005}, {"red": 0.6}, {"quantum": 0.005, "points": 1200}], ids=str
)
def test_uncertainty_knows_neighbours_that_err_together(dirt):
    """Rounding of a quiet signal and red noise: u from white noise alone would cover half of this."""
    rng = np.random.default_rng(31)
    plants = [simulated.Plant(**({"points": 300, "low": rng.uniform(1, 3)} | dirt)) for _ in range(70)]
    records = [
        simulated.Dirty(front := simulated.any_front(rng), plant, seed, front.truth())
        for seed, plant in enumerate(plants)
    ]
    within = covered_of_dirty(records).mean(axis=0)
    assert 0.58 < within[0] < 0.80
    assert within[1] > 0.88


@pytest.mark.parametrize("front", simulated.FRONTS[:6], ids=lambda front: front.name)
def test_noise_of_one_per_cent_doesnt_bias_mean_and_variance(front):
    rng, truth = np.random.default_rng(21), front.truth()
    plant = simulated.Plant(points=300, noise=0.01)
    found = [read(*simulated.trace(front, plant, rng)).estimates for _ in range(60)]
    assert np.mean([f["mean_cv"].value for f in found]) == pytest.approx(truth["mean_cv"], rel=1e-3)
    assert np.mean([f["variance_cv2"].value for f in found]) == pytest.approx(truth["variance_cv2"], rel=0.03)
