"""Maxima against `scipy.signal.find_peaks`, which defines prominence the same way."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from scipy import signal

from beadline.science import peaks

# few distinct levels, so that flat tops and equal heights are common
levels = arrays.arrays(np.float64, st.integers(1, 60), elements=st.integers(-4, 4).map(float))


@given(values=levels, prominence=st.sampled_from([0.5, 1.0, 3.0]))
def test_maxima_are_those_of_the_reference_library(values, prominence):
    found = peaks.maxima(values, prominence=prominence)
    places, seen = signal.find_peaks(values, prominence=prominence)
    assert found.places.tolist() == places.tolist()
    assert found.prominences.tolist() == seen["prominences"].tolist()


def test_a_long_noisy_record_too():
    values = np.random.default_rng(5).standard_normal(3000).cumsum()
    found = peaks.maxima(values, prominence=4.0)
    places, seen = signal.find_peaks(values, prominence=4.0)
    assert places.size > 10
    assert found.places.tolist() == places.tolist()
    np.testing.assert_allclose(found.prominences, seen["prominences"], rtol=1e-12)
