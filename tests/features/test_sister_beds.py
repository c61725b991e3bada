"""A young bed is judged with the experience of its sisters, frozen at its first cycle and named."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session, undefer
from tests import builders
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import bearer

from beadline.features.accounts import queries as accounts
from beadline.features.drift import queries as drift_queries
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.packings import service as packings
from beadline.kit import clock
from beadline.science import drift as science
from beadline.store.tables import BedState, Cycle, Judgement, Packing, PulseTest, Transition, User

NAMES = ("Knot", "Ruff", "Stint")


def engineer_of(session: Session) -> User:
    found = accounts.user_named(session, "engineer")
    assert found is not None
    return found


def copied(row: Any, **changed: Any) -> Any:
    values = {c.key: getattr(row, c.key) for c in row.__table__.columns if c.key != "id"}
    return type(row)(**(values | changed))


def add_sister(session: Session, name: str, *, seed: int, cycles: int = 15) -> Packing:
    """Add a bed of Plover's resin and step plan that went through like cycles, a little scattered."""
    rng, engineer = np.random.default_rng(seed), engineer_of(session)
    made = builders.make_packing(session, builders.a_bed(name), by=engineer)
    made.step_plan_id = 1
    for cycle in session.scalars(select(Cycle).where(Cycle.packing_id == 1).order_by(Cycle.number)).all():
        if cycle.number > cycles:
            continue
        twin = copied(cycle, packing_id=made.id)
        session.add(twin)
        session.flush()
        rows = select(Transition).where(Transition.cycle_id == cycle.id)
        loaded = (
            undefer(Transition.working),
            undefer(Transition.fraction),
            undefer(Transition.density_per_cv),
        )
        for row in session.scalars(rows.options(*loaded)):
            scattered = {
                key: [pair[0] * (1 + 0.02 * rng.standard_normal()), pair[1]]
                for key, pair in row.estimates.items()
            }
            session.add(copied(row, cycle_id=twin.id, estimates=scattered))
    session.flush()
    session.expire_all()
    whole = packings.get(session, made.id)
    drift.replay(session, whole, by=engineer, at=clock.now())
    return whole


@pytest.fixture
def plant(life: Site) -> Site:
    """Plover, three sisters with complete baselines, and Dotterel of the same step plan, without a cycle."""
    with life.writing() as session:
        for seed, name in enumerate(NAMES):
            add_sister(session, name, seed=seed)
        dotterel = session.get(Packing, 2)
        assert dotterel is not None
        dotterel.step_plan_id = 1
    return life


def run(site: Site, number: int) -> None:
    file = builders.make_cycle_file(DOTTEREL, number)
    column = DOTTEREL.column.name
    answer = site.post_run(file, credentials=bearer(site.token("operator")), column=column)
    assert answer.status_code == 201, answer.text


def prior(site: Site, packing_id: int = 2) -> dict[str, Any] | None:
    with site.writing() as session:
        standing = drift_queries.bed_state_to_go_on(session, packing_id)
        assert standing is not None
        found: dict[str, Any] | None = standing.state["prior"]
        return found


def snapshot(site: Site) -> list[tuple[Any, ...]]:
    with site.writing() as session:
        rows = session.scalars(
            select(Judgement).join(Cycle, Cycle.id == Judgement.cycle_id).where(Cycle.packing_id == 2)
        )
        told = [(row.cycle_id, row.verdict, row.condition, row.drift, row.charts) for row in rows]
        state = session.scalars(select(BedState.state).where(BedState.packing_id == 2)).one()
        return [*told, (state,)]


def test_a_young_bed_takes_the_experience_of_its_sisters_and_names_them(plant: Site):
    run(plant, 1)
    taken = prior(plant)
    assert taken is not None
    assert set(taken["sisters"]) == {f"{name}, packing 1" for name in NAMES} | {"Plover, packing 1"}
    assert 0 < taken["sd"]["wash to strip/hetp_moments"] < 0.1
    page = plant.visitor("viewer").get(f"/columns/{DOTTEREL.column.asset_tag}").text
    assert "Judged with the experience of 4 sister beds" in page
    assert "Knot, packing 1" in page


def test_without_three_sisters_it_is_judged_alone(life: Site):
    assert prior(life, packing_id=1) is None
    page = life.visitor("viewer").get(f"/columns/{PLOVER.column.asset_tag}").text
    assert "No sister beds yet" in page


def test_beds_of_another_step_plan_or_without_a_baseline_are_no_sisters(life: Site):
    with life.writing() as session:
        for seed, name in enumerate(NAMES[:2]):
            add_sister(session, name, seed=seed)
        add_sister(session, NAMES[2], seed=3, cycles=9)
    with life.writing() as session:
        dotterel = packings.get(session, 2)
        settings = science.Settings()
        assert drift.experience(session, dotterel, settings) is None, "its step plan is another"
        dotterel.step_plan_id = 1
        session.flush()
        found = drift.experience(session, dotterel, settings)
        assert found is not None
        assert set(found.sisters) == {"Plover, packing 1", "Knot, packing 1", "Ruff, packing 1"}, (
            "Stint's baseline is not complete"
        )


def test_the_experience_stays_whatever_sisters_go_through_and_judging_anew_equals_it(plant: Site):
    for number in range(1, 11):
        run(plant, number)
    before = snapshot(plant)
    with plant.writing() as session:
        add_sister(session, "Curlew", seed=9)
        intake.judge_anew(session, packings.get(session, 2), by=engineer_of(session), at=clock.now())
    assert snapshot(plant) == before


def test_new_settings_take_it_anew_and_can_do_without(plant: Site):
    run(plant, 1)
    for use_fleet, sisters in ((False, None), (True, 5)):
        if use_fleet:
            with plant.writing() as session:
                add_sister(session, "Curlew", seed=9)
        with plant.writing() as session:
            engineer, bed = engineer_of(session), packings.get(session, 2)
            present = drift.baseline_of(session, bed, by=engineer, at=clock.now())
            settings = replace(science.Settings.from_dict(present.settings), use_fleet=use_fleet)
            session.add(
                copied(present, version=present.version + 1, settings=settings.to_dict(), reason="Tried.")
            )
            session.flush()
            intake.judge_anew(session, bed, by=engineer, at=clock.now())
        found = prior(plant)
        assert (None if found is None else len(found["sisters"])) == sisters
        page = plant.visitor("viewer").get(f"/columns/{DOTTEREL.column.asset_tag}").text
        assert ("switched off" in page) is not use_fleet


def shown_page(site: Site, form: dict[str, str]) -> str:
    settings = {
        "baseline_cycles": "15",
        "baseline_start": "1",
        "one_false_alarm_in": "450",
        "action_one_in": "4500",
    }
    return site.visitor("engineer").send(
        "/packings/2/baseline", settings | form, 303 if "seal" in form else 200
    )


def test_the_baseline_page_shows_what_sisters_contribute(plant: Site):
    run(plant, 1)
    taken = prior(plant)
    assert taken is not None
    page = plant.visitor("viewer").get("/packings/2/baseline").text
    assert "4 sister beds of this resin and step plan" in page
    assert f"{100 * taken['sd']['wash to strip/hetp_moments']:.2g} %" in page
    weight = taken["worth"]["wash to strip/hetp_moments"]
    assert f"{weight / (weight + 14):.0%}".replace("%", " %") in page
    assert "being learnt" in page


def test_it_is_switched_off_on_the_baseline_page_after_a_rehearsal(plant: Site):
    run(plant, 1)
    shown = shown_page(plant, {"do": "show", "use_fleet": "no"})
    assert re.search(r"Experience of sister beds used: <s[^>]*>yes</s> <b>no</b>", shown)
    assert prior(plant) is not None, "a rehearsal stores nothing"
    seal = re.search(r'name="seal" value="(\w+)"', shown)
    assert seal
    shown_page(plant, {"do": "save", "use_fleet": "no", "reason": "Another lot of resin.", "seal": seal[1]})
    assert prior(plant) is None
    page = plant.visitor("viewer").get("/packings/2/baseline").text
    assert "Their experience is switched off; it would be this." in page


def add_pulse_test(session: Session, packing_id: int, *, hetp_m: float) -> None:
    """Add a valid pulse test from before the packing's first run."""
    bed = session.get_one(Packing, packing_id)
    session.add(
        PulseTest(
            packing_id=packing_id,
            performed_at=bed.packed_at,
            injection_ml=10.0,
            trace_id=session.scalars(select(Cycle.trace_id)).first(),
            profile={},
            method="by hand",
            method_version="1",
            settings={},
            usable=True,
            estimates={"hetp_half_height": [hetp_m, 1e-6], "asymmetry": [1.1, 0.01]},
            corrected={},
            withheld={},
            doubts=[],
            working={},
            criteria={},
            verdict="pass",
            checks=[],
            logged_by_id=engineer_of(session).id,
            logged_at=clock.now(),
        )
    )


def runs_of(session: Session, packing_id: int) -> float:
    """Centre of a bed's HETP over its baseline [m]."""
    standing = drift_queries.bed_state_to_go_on(session, packing_id)
    assert standing is not None
    baseline = science.Baseline.from_dict(standing.state["baseline"])
    place = baseline.keys.index("wash to strip/hetp_moments")
    return float(baseline.on_unit(baseline.centre)[place])


def with_pulse_tests(plant: Site, *, own_share: float) -> None:
    """Let sisters' runs be 1.2 times their pulse tests; Dotterel's is a share of the first sister's."""
    with plant.writing() as session:
        ids = [
            one.id for one in session.scalars(select(Packing).where(Packing.id != 2)) if one.step_plan_id == 1
        ]
        for one in ids:
            add_pulse_test(session, one, hetp_m=runs_of(session, one) / 1.2)
        add_pulse_test(session, 2, hetp_m=own_share * runs_of(session, ids[0]) / 1.2)


def test_a_pulse_test_promises_by_how_those_of_sisters_agreed_with_their_runs(plant: Site):
    with_pulse_tests(plant, own_share=1.0)
    run(plant, 1)
    taken = prior(plant)
    assert taken is not None
    promise = taken["promises"]["wash to strip/hetp_moments"]
    assert promise["beds"] == 4
    with plant.writing() as session:
        assert np.exp(promise["centre"]) == pytest.approx(runs_of(session, 1), rel=0.02)
    page = plant.visitor("viewer").get("/packings/2/baseline").text
    assert "What this bed&#39;s pulse test promises" in page or "What this bed's pulse test promises" in page
    assert "Runs to be expected" in page


def test_a_bed_that_begins_far_from_its_pulse_test_raises_an_alert(plant: Site):
    with_pulse_tests(plant, own_share=0.3)
    run(plant, 1)
    page = plant.visitor("viewer").get("/alerts").text
    assert "not what the bed&#39;s pulse test promised" in page


def test_a_form_without_the_switch_leaves_it_as_it_is(plant: Site):
    run(plant, 1)
    assert "No setting differs from the present ones." in shown_page(plant, {"do": "show"})
