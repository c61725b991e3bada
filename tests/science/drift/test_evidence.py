"""The evidence of change: its rate in control, its delay, its independence of the baseline, its limits."""

from __future__ import annotations

import numpy as np
import pytest
from tests.science.drift import lives
from tests.science.drift.test_stated_rate import bounds

from beadline.science.drift import charts
from beadline.science.drift.baseline import robust_moments
from beadline.science.drift.evidence import ChangeEvidence


def scores(y: np.ndarray, baseline: int) -> np.ndarray:
    centre, sd = robust_moments(y[:baseline])
    watch = ChangeEvidence(y.shape[1], phi=0.3)
    watch.extend((y - centre) / sd)
    return watch.looks(len(y) - baseline).up


def alarms(beds: int, baseline: int, phi: float) -> float:
    """Share of beds with a false alarm within 200 cycles, autocorrelation expected at 0.3 and learnt."""
    y = lives.autocorrelated(
        baseline + 200, beds, phi=phi, rng=np.random.default_rng([baseline, int(100 * phi)])
    )
    limit = charts.limit("change", 450.0, baseline_cycles=baseline, phi=0.3)
    return float((scores(y, baseline) > limit).any(0).mean())


@pytest.mark.parametrize("baseline", [10, 15, 30])
@pytest.mark.parametrize("phi", [0.0, 0.3, 0.5])
def test_the_stated_rate_is_obtained_within_a_factor_of_one_and_a_half(baseline, phi):
    low, high = bounds(1200)
    assert low <= alarms(1200, baseline, phi) <= high


# Goals for one upward metric with the whole budget: baseline 15, phi 0.3, 20 cycles in control.
@pytest.mark.parametrize(("step", "ramp", "goal"), [(2.0, 0.0, 6), (4.0, 0.0, 2), (0.0, 0.05, 24)])
def test_changes_are_found_in_time(step, ramp, goal):
    y = lives.autocorrelated(95, 2000, phi=0.3, rng=np.random.default_rng(77))
    since = np.arange(95) - 35 + 1
    y += (step * (since > 0) + ramp * np.maximum(since, 0))[:, None]
    limit = charts.limit("change", 450.0, baseline_cycles=15, phi=0.3)
    beyond = scores(y, 15) > limit
    quiet = ~beyond[:20].any(0)
    later = beyond[20:, quiet]
    delay = np.where(later.any(0), later.argmax(0) + 1, 61)
    assert np.median(delay) <= goal


def test_a_failed_bed_gives_a_finite_number():
    y = lives.autocorrelated(400, 3, phi=0.0, rng=np.random.default_rng(1))
    y[100:] += 1e6
    assert np.isfinite(scores(y, 15)).all()


def test_the_unit_of_a_metric_does_not_matter():
    y = lives.autocorrelated(60, 5, phi=0.3, rng=np.random.default_rng(3))
    assert scores(7.0 + 250 * y, 15) == pytest.approx(scores(y, 15), abs=0.02)


def test_a_downward_change_is_an_upward_one_in_the_mirror():
    y = lives.autocorrelated(60, 4, phi=0.3, rng=np.random.default_rng(4))
    up, down = ChangeEvidence(4, phi=0.3), ChangeEvidence(4, phi=0.3)
    up.extend(y)
    down.extend(-y)
    assert up.looks().up == pytest.approx(down.looks().down)


def test_cycles_one_by_one_give_what_all_at_once_give():
    y = lives.autocorrelated(90, 3, phi=0.3, rng=np.random.default_rng(5))
    y[40:, 0] += 8.0
    y[20:26, 1] = y[0, 2] = y[55, 2] = np.nan
    once, singly = ChangeEvidence(3, phi=0.3), ChangeEvidence(3, phi=0.3)
    once.extend(y)
    found = []
    for row in y:
        singly.extend(row[None])
        found.append(singly.looks().up[0])
    assert np.array_equal(once.looks(90).up, np.array(found))
