"""Whole beds give the false alarms that were stated, within a factor of 1.5, however autocorrelated."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from tests.benchmarks import drift_rates

STATED, HORIZON, FACTOR = 450, drift_rates.HORIZON, 1.5


def share_with_alarm(beds: int, *, baseline: int, phi: float) -> float:
    """Share of beds of 21 metrics with an event before 200 cycles after the baseline are over."""
    events = drift_rates.first_events(
        beds,
        HORIZON,
        baseline=baseline,
        phi=phi,
        metrics=drift_rates.WHOLE,
        transitions=("wash", "strip", "sanitise"),
    )
    return float(np.mean(np.array(events) <= HORIZON))


def bounds(beds: int) -> tuple[float, float]:
    """Shares that chance allows at the ends of what is stated, two in a hundred left out."""
    rare, often = (1 - (1 - 1 / one_in) ** HORIZON for one_in in (STATED * FACTOR, STATED / FACTOR))
    return stats.binom.ppf(0.02, beds, rare) / beds, stats.binom.ppf(0.98, beds, often) / beds


def test_an_autocorrelated_bed_with_a_long_baseline_keeps_the_stated_rate():
    low, high = bounds(40)
    assert low <= share_with_alarm(40, baseline=30, phi=0.5) <= high


@pytest.mark.slow
@pytest.mark.parametrize("baseline", [10, 15, 30])
@pytest.mark.parametrize("phi", [0.0, 0.3, 0.5])
def test_every_bed_keeps_the_stated_rate(baseline, phi):
    low, high = bounds(300)
    assert low <= share_with_alarm(300, baseline=baseline, phi=phi) <= high
