"""Charts, change points and forecasts against published series and figures made by other programs."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from beadline.science import drift
from beadline.science.drift import charts
from beadline.science.drift.baseline import robust_moments
from beadline.science.drift.evidence import ChangeEvidence

Floats = NDArray[np.float64]
FACTS = json.loads((Path(__file__).parents[1] / "reference" / "drift.json").read_text())


def standardised(values: list[float], baseline: int) -> Floats:
    y = np.array(values)[:, None]
    centre, sd = robust_moments(y[:baseline])
    return (y - centre) / sd


def watched(z: Floats) -> ChangeEvidence:
    watch = ChangeEvidence(1, phi=0.0, phi_spread=0.0)
    watch.extend(z)
    return watch


def test_the_nile_changed_after_1898():
    facts = FACTS["nile"]
    z = standardised(facts["y"], 25)
    watch = watched(z)
    onset = watch.onset(0, -1.0, z[:, 0])
    assert watch.looks().down[0][0] > charts.limit("change", 4500.0, baseline_cycles=25, phi=0.0)
    assert onset.first == facts["cycles_before"]
    assert onset.kind == "step"
    assert onset.low >= facts["bayes_95_interval"][0] - 1
    assert onset.high <= facts["bayes_95_interval"][1] + 1


def test_a_step_of_two_standard_deviations_is_dated_as_an_exhaustive_search_does():
    facts = FACTS["asymmetry_step"]
    z = standardised(facts["y"], 15)
    onset = watched(z).onset(0, 1.0, z[:, 0])
    assert abs(onset.first - facts["cycles_before"]) <= 1
    assert onset.low <= facts["made_before"] <= onset.high + 1


def test_no_alarm_where_nothing_changed():
    watch = watched(standardised(FACTS["asymmetry_no_change"]["y"], 15))
    limit = charts.limit("change", 450.0, baseline_cycles=15, phi=0.0)
    assert max(watch.looks().up[0][0], watch.looks().down[0][0]) < limit


def test_a_hinge_is_told_from_a_step():
    facts = FACTS["hinge"]
    z = standardised(facts["y"], 15)
    onset = watched(z).onset(0, 1.0, z[:, 0])
    assert onset.kind == "ramp"
    assert onset.low <= facts["knot"] <= onset.high
    found = drift.forecast(range(1, 61), facts["y"], key="x/skewness", limits=drift.FixedLimits(), phi=0.0)
    assert found.slope == pytest.approx(facts["slope_made"], abs=2.5 * found.slope_u)


@pytest.mark.parametrize("index", range(4))
def test_spread_of_an_ewma_of_autocorrelated_values(index):
    facts = FACTS["ewma_sd_ratio"]
    ratio = charts.ewma_sd(10**9, phi=facts["phi"][index]) / charts.ewma_sd(10**9, phi=0.0)
    assert ratio == pytest.approx(facts["ratio"][index], rel=1e-4)


def test_run_length_of_the_ewma_with_known_centre():
    facts = FACTS["ewma_arl"]
    rng = np.random.default_rng(12)
    limit = facts["L"] * charts.ewma_sd(10**9, phi=0.0)
    smooth, length = np.zeros(3000), np.full(3000, 4000.0)
    for cycle in range(1, 4000):
        smooth = charts.smoothed(smooth, rng.standard_normal(3000))
        length = np.where((np.abs(smooth) > limit) & (length == 4000.0), cycle, length)
    assert length.mean() == pytest.approx(facts["arl"], rel=0.06)


def test_limits_agree_with_another_program():
    facts = FACTS["limits_15_cycles"]
    individuals = charts.limit("individuals", 450.0, baseline_cycles=15, phi=0.3)
    ewma = charts.limit("ewma", 450.0, baseline_cycles=15, phi=0.3) / charts.ewma_sd(15, phi=0.3)
    assert individuals == pytest.approx(facts["individuals"], rel=0.05)
    assert ewma == pytest.approx(facts["ewma_0.2"], rel=0.04)


def test_a_fitted_line_is_followed_to_its_limit():
    facts = FACTS["fitted_line"]
    found = drift.forecast(
        range(1, 41), facts["y"], key="x/skewness", limits=drift.FixedLimits(action_high=1.6), phi=0.0
    )
    early, middle, late = facts["first_reading_5_50_95"]
    limit = found.limits[0]
    assert found.steady
    assert limit.low + 40 == pytest.approx(early, rel=0.12)
    assert limit.median + 40 == pytest.approx(middle, rel=0.1)
    assert limit.high + 40 == pytest.approx(late, rel=0.15)


def test_no_number_where_there_is_no_trend():
    facts = FACTS["no_trend"]
    found = drift.forecast(
        range(1, 21), facts["y"], key="x/skewness", limits=drift.FixedLimits(action_high=1.6), phi=0.0
    )
    assert not found.steady
    assert found.limits == ()
    assert "No steady trend" in found.sentence


def test_the_slope_of_the_sulfate_example():
    facts = FACTS["sulfate"]
    found = drift.forecast(
        [round(10 * (x - 89)) for x in facts["x"]],
        facts["y"],
        key="x/skewness",
        limits=drift.FixedLimits(),
        phi=0.0,
    )
    assert found.steady
    assert facts["interval"][0] <= 10 * found.slope <= 1.4 * facts["interval"][1]
