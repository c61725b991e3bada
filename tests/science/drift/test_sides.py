"""What only worsens by growing has no limit below; its fall is no alarm (common practice, no source)."""

from __future__ import annotations

import numpy as np

from beadline.science import drift
from beadline.science.estimates import Estimate


def life(last: float) -> drift.Judgement:
    rng = np.random.default_rng(11)
    values = [*(0.02 * np.exp(rng.normal(0, 0.03, 20))), last]
    readings = [
        drift.Reading(n, {"wash/hetp_moments": Estimate(float(v), 1e-4)})
        for n, v in enumerate(values, start=1)
    ]
    return drift.replay(readings, drift.Settings()).judgements[-1]


def test_a_sharper_front_passes_no_limit() -> None:
    judgement = life(0.01)
    chart = next(c for c in judgement.charts if c.chart == "individuals")
    assert (chart.alert_low, chart.action_low, chart.level) == (None, None, "")
    assert judgement.verdict == "in limits"


def test_a_wider_front_passes_both() -> None:
    judgement = life(0.04)
    chart = next(c for c in judgement.charts if c.chart == "individuals")
    assert chart.level == "action"
    assert judgement.verdict == "past action limit"
