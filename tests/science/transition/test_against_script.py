"""On dirty records the reading must beat the plain derivative script by a wide margin."""

from __future__ import annotations

import pytest
from tests.benchmarks import transition as benchmark


def test_errors_are_at_least_three_times_smaller():
    assert benchmark.gain(40, seed=4) > 3


@pytest.mark.slow
@pytest.mark.parametrize("seed", [5, 6])
def test_errors_are_at_least_three_times_smaller_on_many_records(seed):
    assert benchmark.gain(300, seed=seed) > 3
