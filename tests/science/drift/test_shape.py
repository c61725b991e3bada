"""The look at whole curves: what it is blind to, what it sees, and where."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from beadline.science import drift
from beadline.science.drift import shape
from beadline.science.estimates import Estimate

GRID = np.linspace(0, 2, 161)


def curve(
    rng: np.random.Generator, *, late: float = 0.0, scale: float = 1.0, early: float = 0.0
) -> np.ndarray:
    """A front with a part `early` of the flow at 0.75 of the volume, as two error functions."""
    sd = 0.05 * (1 + 0.02 * rng.standard_normal())
    at = (GRID + late) / scale
    front = (1 - early) * special.ndtr((at - 0.9) / sd) + early * special.ndtr((at - 0.68) / (1.5 * sd))
    return front + 0.0005 * rng.standard_normal(len(GRID))


def life(**after: float) -> list[drift.Reading]:
    rng = np.random.default_rng(6)
    found = []
    for cycle in range(1, 46):
        seen = curve(rng, **(after if cycle > 30 else {}))
        values = {"wash/skewness": Estimate(float(rng.standard_normal()), 0.0)}
        found.append(drift.Reading(cycle, values, {"wash": seen}))
    return found


def test_three_per_cent_of_the_flow_gone_early_is_seen_and_placed():
    alerts = drift.replay(life(early=0.03), drift.Settings()).alerts
    assert 31 <= alerts[0].opened <= 33
    assert alerts[0].sizes["wash/curve_early"] > 3


@pytest.mark.parametrize("nuisance", [{"late": 0.04}, {"scale": 1.03}])
def test_start_mark_and_volume_scale_are_no_shape(nuisance):
    assert drift.replay(life(**nuisance), drift.Settings()).alerts == ()


def test_a_curve_that_never_passes_half_has_no_shape():
    model = shape.learn(life()[:15])[0].models["wash"]
    assert model.measured(np.full(161, 0.2)) == {}
    assert model.measured(np.full(161, np.nan)) == {}
    assert model.measured(np.linspace(0, 1, 50)) == {}


def test_a_baseline_cycle_is_measured_without_itself():
    rows = life()[:15]
    model, measured = shape.learn(rows)
    within = [model.models["wash"].measured(r.curves["wash"])["curve_residual"] for r in rows]
    without = [r.values["wash/curve_residual"].value for r in measured]
    assert np.mean(without) > np.mean(within)
