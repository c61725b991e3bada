"""The cleaned curve's derivative is that of the cubic spline through its points."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import interpolate

from beadline.science.transition import curve


@pytest.mark.parametrize("size", [2, 3, 4, 5, 161])
def test_slopes_are_those_of_scipy_s_spline(size):
    rng = np.random.default_rng(size)
    volume = np.cumsum(rng.uniform(0.1, 2.0, size))
    values = rng.normal(size=size)
    theirs = interpolate.CubicSpline(volume, values)(volume, 1)
    assert curve.slopes(volume, values) == pytest.approx(theirs, rel=1e-9, abs=1e-9)
