"""Covariance of sums over a record whose neighbouring samples are correlated."""

from __future__ import annotations

import numpy as np
import pytest

from beadline.science.pulse.baseline import Noise


@pytest.mark.parametrize("correlation", [0.0, 0.4, 0.95])
def test_covariance_is_that_of_the_full_matrix(correlation):
    """A first-order autoregressive series has correlation phi^|i-j| (any text on time series)."""
    rng = np.random.default_rng(2)
    rows, sd = rng.standard_normal((3, 80)), rng.uniform(0.5, 2.0, 80)
    apart = np.abs(np.subtract.outer(np.arange(80), np.arange(80)))
    full = np.outer(sd, sd) * correlation**apart
    np.testing.assert_allclose(
        Noise(sd=sd, correlation=correlation).covariance(rows), rows @ full @ rows.T, rtol=1e-9, atol=1e-9
    )
