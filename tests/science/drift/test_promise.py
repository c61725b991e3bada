"""What a pulse test promises of the first runs: how far it is followed, what it finds, how often it errs."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy import stats
from tests.science.drift import lives

from beadline.science import drift
from beadline.science.drift import promise
from beadline.science.drift.baseline import learn

KEY = "wash/hetp_moments"
CENTRE = lives.CENTRES["hetp_moments"]


def sisters(
    rng: np.random.Generator, *, beds: int, ratio_sd: float, packing_sd: float
) -> tuple[list[drift.Pair], float, float]:
    """Beds whose runs follow their pulse tests by a ratio; and such a pulse test and runs of one more."""
    packings = np.exp(packing_sd * rng.standard_normal(beds + 1))
    runs = CENTRE * packings * np.exp(ratio_sd * rng.standard_normal(beds + 1))
    pulses = 0.8 * CENTRE * packings
    return [drift.Pair(p, r) for p, r in zip(pulses[1:], runs[1:], strict=True)], pulses[0], runs[0]


def prior(pairs: list[drift.Pair], pulse: float) -> drift.Prior:
    found = drift.promised(pulse, pairs)
    assert found is not None
    return drift.Prior(len(pairs), phi=0.3, sd={KEY: 0.02}, worth={KEY: 30.0}, promises={KEY: found})


def first_runs(shift: float = 0.0, cycles: int = 15, seed: int = 1) -> list[drift.Reading]:
    return lives.readings(
        cycles, seed=seed, metrics=("hetp_moments",), transitions=("wash",), shift=lambda c, t, m: shift
    )


def test_a_prediction_interval_for_one_more_bed():
    """With pulse tests that say nothing, this is the interval of ISO 16269-8 for one further observation."""
    ratios = np.array([0.1, -0.2, 0.05, 0.3, -0.1, 0.02])
    scatter = 50 * np.array([1.0, -1.0, 2.0, -2.0, 1.5, -1.5])
    found = drift.promised(
        1.0, [drift.Pair(np.exp(s), np.exp(r)) for s, r in zip(scatter, ratios, strict=True)]
    )
    assert found is not None
    assert found.weight < 1e-4
    assert found.centre == pytest.approx(ratios.mean(), abs=0.01)
    assert found.u == pytest.approx(
        np.sqrt(np.sum((ratios - ratios.mean()) ** 2) / 4 * (1 + 1 / 6)), rel=0.01
    )


def test_pulse_tests_that_went_with_the_runs_are_followed():
    rng = np.random.default_rng(3)
    pairs, pulse, _ = sisters(rng, beds=8, ratio_sd=0.02, packing_sd=0.3)
    found = drift.promised(pulse, pairs)
    assert found is not None
    assert found.weight > 0.9
    assert np.exp(found.centre) == pytest.approx(pulse / 0.8, rel=0.08)


def test_three_sisters_promise_nothing():
    assert drift.promised(1.0, [drift.Pair(1.0, 1.0)] * 3) is None


def test_a_bed_that_begins_worse_than_promised_is_found_in_its_first_run():
    pairs, _, _ = sisters(np.random.default_rng(4), beds=8, ratio_sd=0.03, packing_sd=0.1)
    life = drift.replay(first_runs(20.0), drift.Settings(), prior=prior(pairs, 0.8 * CENTRE))
    assert life.alerts[0].opened == 1
    assert life.alerts[0].kind == "start"
    assert "pulse test promised" in life.alerts[0].sentence
    assert len(life.alerts) == 1


def test_a_bed_that_begins_better_is_no_alarm_and_one_as_promised_neither():
    pairs, _, _ = sisters(np.random.default_rng(4), beds=8, ratio_sd=0.03, packing_sd=0.1)
    for shift in (0.0, -20.0):
        life = drift.replay(first_runs(shift), drift.Settings(), prior=prior(pairs, 0.8 * CENTRE))
        assert life.alerts == ()


def test_it_counts_until_the_baseline_is_complete_and_no_longer():
    pairs, _, _ = sisters(np.random.default_rng(4), beds=8, ratio_sd=0.03, packing_sd=0.1)
    known = prior(pairs, 0.8 * CENTRE)
    judged = drift.replay(first_runs(20.0, cycles=40), drift.Settings(), prior=known).judgements
    assert {j.verdict for j in judged[:15]} <= {"past alert limit", "past action limit"}
    assert {j.verdict for j in judged[16:]} == {"in limits"}
    alone = drift.replay(first_runs(cycles=16), drift.Settings(), prior=known)
    assert not any(chart.chart == "start" for chart in alone.judgements[15].charts)


def test_a_further_cycle_equals_the_replay_through_storage():
    pairs, _, _ = sisters(np.random.default_rng(4), beds=8, ratio_sd=0.03, packing_sd=0.1)
    known, history = prior(pairs, 0.8 * CENTRE), first_runs(6.0, cycles=18)
    state = drift.start(drift.Settings(), prior=known)
    for reading, expected in zip(
        history, drift.replay(history, drift.Settings(), prior=known).judgements, strict=True
    ):
        state = drift.State.from_dict(json.loads(json.dumps(state.to_dict())))
        state, judgement = drift.advance(state, reading)
        assert judgement == expected
        assert judgement.charts == expected.charts


def test_a_short_baseline_is_drawn_to_the_promise_by_what_it_is_worth():
    pairs, _, _ = sisters(np.random.default_rng(4), beds=8, ratio_sd=0.03, packing_sd=0.1)
    known, history = prior(pairs, 0.9 * CENTRE), first_runs(cycles=5)
    own, drawn = (learn(history, drift.Settings(), prior=known, young=young) for young in (False, True))
    promised = known.promises[KEY]
    worth = promised.worth_cycles(float(own.sd[0]), phi=0.3)
    assert drawn.centre[0] == pytest.approx((5 * own.centre[0] + worth * promised.centre) / (5 + worth))


@pytest.mark.parametrize(("beds", "ratio_sd"), [(4, 0.06), (8, 0.02), (12, 0.1)])
def test_the_first_runs_give_their_fifth_of_the_stated_false_alarms(beds, ratio_sd):
    rng, settings = np.random.default_rng(beds), drift.Settings(one_false_alarm_in=100.0)
    false = []
    for _ in range(1500):
        pairs, pulse, centre = sisters(rng, beds=beds, ratio_sd=ratio_sd, packing_sd=0.1)
        start = promise.frame(prior(pairs, pulse), settings)
        assert start is not None
        noise = 0.02 * lives.autocorrelated(15, 1, phi=0.3, rng=rng)[:, 0]
        z = (np.log(centre) + noise - start.baseline.centre[0]) / start.baseline.sd[0]
        false.append(bool((z > start.alert[0]).any()))
    stated = promise.SHARE * 15 / 100
    assert stated / 4 <= np.mean(false) <= stats.binom.ppf(0.99, 1500, stated) / 1500


def test_a_pulse_test_of_nothing_is_refused():
    with pytest.raises(ValueError, match="not 0"):
        drift.promised(0.0, [])


def test_old_states_hold_no_promise():
    plain = drift.Prior(3, phi=0.2).to_dict()
    plain.pop("promises")
    assert drift.Prior.from_dict(plain).promises == {}
