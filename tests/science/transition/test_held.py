"""A historian that rounds a value and holds it until it has moved enough leaves less than rounding does."""

from __future__ import annotations

import numpy as np
import pytest
from tests.science.transition import simulated

from beadline.science import transition

NAMES = ("mean_cv", "hetp_moments", "v10_cv", "v90_cv", "width_10_90_cv")


@pytest.mark.parametrize("noise", [0.0007, 0.0015])
def test_uncertainty_covers_the_truth_of_a_record_that_is_rounded_and_held(noise):
    plant = simulated.Plant(points=900, noise=noise, quantum=0.005, held=0.01)
    away = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        front = simulated.any_front(rng)
        result = transition.analyse(*simulated.trace(front, plant, rng), bed_volume_m3=1.0, bed_height_m=0.2)
        truth, found = front.truth(), result.estimates
        away += [abs(found[n].value - truth[n]) / found[n].u for n in NAMES if n in found]
    assert len(away) > 150
    assert np.mean(np.array(away) < 2) > 0.85
