"""The forecast of a campaign on lives that went on: its band and its probabilities hold what they say."""

from __future__ import annotations

from tests.benchmarks import forecast as wear
from tests.benchmarks import prospect as benchmark


def test_the_band_of_beds_that_clog_holds_about_what_it_promises():
    """80 % are promised; the whole back-test, which takes two minutes, is tests/benchmarks/prospect.py."""
    found = [
        told
        for seed in range(12)
        for told in benchmark.of_life("clogging", wear.clogging_life(seed, 90), ("pressure_drop_pa",))
    ]
    share, readings = benchmark.coverage(found)
    assert readings > 900
    assert 0.6 < share < 0.9
    assert {told.basis for told in found} >= {"steady trend", "no steady trend"}


def test_stated_probabilities_fit_what_came():
    """Campaigns that were said to stay within the limits mostly did, those that were said not to did not."""
    found = [
        told
        for seed in range(40)
        for told in benchmark.of_life("clogging", wear.clogging_life(seed, 90), ("pressure_drop_pa",))
    ]
    lines = benchmark.calibration(found)
    stayed = [share for _, _, _, share, _ in lines]
    assert stayed == sorted(stayed)
    assert stayed[0] < 0.15
    assert stayed[-1] > 0.8
