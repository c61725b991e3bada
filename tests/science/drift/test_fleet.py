"""Experience pooled over beds, and what it does for a young bed."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy import stats
from tests.benchmarks import drift_young
from tests.science.drift import lives

from beadline.science import drift
from beadline.science.drift.prior import Prior

ONE = {"metrics": ("skewness",), "transitions": ("wash",)}


def fleet(beds: int, *, phi: float = 0.3) -> drift.Prior:
    histories = [lives.readings(20, seed=100 + n, phi=phi, **ONE) for n in range(beds)]
    return drift.pool(histories, drift.Settings())


def test_beds_that_are_alike_are_worth_much():
    prior = fleet(20)
    spread = lives.SPREAD * lives.CENTRES["skewness"]
    assert prior.beds == 20
    assert prior.sd["wash/skewness"] == pytest.approx(spread, rel=0.1)
    assert prior.worth["wash/skewness"] > 20


@pytest.mark.parametrize("phi", [0.0, 0.5])
def test_autocorrelation_is_pooled(phi):
    assert fleet(40, phi=phi).phi == pytest.approx(phi, abs=0.1)


def test_beds_that_differ_are_worth_little():
    rng = np.random.default_rng(5)
    histories = []
    for seed in range(20):
        scale = float(np.exp(rng.normal(0, 1.0)))
        histories.append(
            lives.readings(
                20, seed=seed, shift=lambda c, t, m, k=scale, s=seed: k * np.sin(7.0 * c + s), **ONE
            )
        )
    assert drift.pool(histories, drift.Settings()).worth["wash/skewness"] < 25


def test_two_beds_say_nothing_of_spread():
    assert fleet(2).sd == {}


def test_a_prior_survives_storage_and_can_be_switched_off():
    prior = fleet(10)
    assert Prior.from_dict(json.loads(json.dumps(prior.to_dict()))) == prior
    history = lives.readings(40, seed=3, **ONE)
    off = drift.replay(history, drift.Settings(use_fleet=False), prior=prior)
    assert off.judgements == drift.replay(history, drift.Settings(use_fleet=False)).judgements


def test_experience_finds_a_change_sooner_on_the_average():
    prior = fleet(40)

    def step(cycle, transition, metric):
        return 1.8 if cycle > 17 else 0.0

    delays: dict[bool, list[int]] = {True: [], False: []}
    for seed in range(40):
        history = lives.readings(70, seed=seed, shift=step, **ONE)
        for known in (True, False):
            alerts = drift.replay(history, drift.Settings(), prior=prior if known else None).alerts
            opened = [a.opened - 17 for a in alerts if a.opened > 17]
            delays[known].append(min(opened, default=53))
    assert np.mean(delays[True]) < np.mean(delays[False])


def test_experience_finds_a_change_in_a_young_bed_sooner_and_cries_wolf_as_stated():
    one = (("hetp_moments",), ("wash",))
    quiet, moved = (
        {known: drift_young.first_events(60, *one, size=size, known=known) for known in (False, True)}
        for size in (0.0, drift_young.SIZE)
    )
    allowed = stats.binom.ppf(0.99, 60, drift_young.YOUNG / drift.Settings().one_false_alarm_in)
    assert max(sum(cycle <= drift_young.YOUNG for cycle in found) for found in quiet.values()) <= allowed
    assert np.median(moved[True]) <= np.median(moved[False]) - 2


def test_a_young_bed_judged_from_its_stored_state_equals_its_replay():
    prior = drift_young.experience(0, ("hetp_moments", "asymmetry"), ("wash",))
    history = lives.readings(
        18,
        seed=4,
        metrics=("hetp_moments", "asymmetry"),
        transitions=("wash",),
        shift=lambda cycle, transition, metric: 5.0 * (cycle > 9),
    )
    whole = drift.replay(history, drift.Settings(), prior=prior)
    assert whole.alerts
    state = drift.start(drift.Settings(), prior=prior)
    found = []
    for reading in history:
        stored = drift.State.from_dict(json.loads(json.dumps(state.to_dict())))
        state, judgement = drift.advance(stored, reading)
        found.append(judgement)
    assert tuple(found) == whole.judgements
