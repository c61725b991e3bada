"""Transitions: what a step plan names is found, measured and stored with how it was measured.

The bed model's front moves with known mean and spread, so the stored numbers can be held against it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from sqlalchemy.orm import Session
from tests import builders
from tests.builders import SHORT_PLAN
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import bearer

from beadline import reading
from beadline.demo import lives
from beadline.features.packings import service as packings
from beadline.features.transitions import queries
from beadline.features.transitions import service as transitions
from beadline.kit import clock
from beadline.kit.errors import Invalid
from beadline.reading import PlannedTransition
from beadline.science import bed_model
from beadline.store.tables import Transition, User

NOW = clock.now()


def test_a_plan_of_the_same_name_becomes_the_next_version(session: Session, people: dict[str, User]):
    versions = [
        transitions.make_plan(
            session, name=" Polish ", transitions=builders.planned(), by=people["engineer"], at=NOW
        ).version
        for _ in range(3)
    ]
    assert versions == [1, 2, 3]
    newest = queries.plan_named(session, "Polish")
    assert newest is not None
    assert newest.version == 3
    assert transitions.planned(newest) == tuple(builders.planned())


@pytest.mark.parametrize("names", [(), ("a", "a")])
def test_a_plan_needs_transitions_that_can_be_told_apart(
    session: Session, people: dict[str, User], names: tuple[str, ...]
):
    with pytest.raises(Invalid, match="different names"):
        transitions.make_plan(
            session,
            name="Polish",
            transitions=[PlannedTransition(name, "conductivity") for name in names],
            by=people["engineer"],
            at=NOW,
        )


def test_the_conductivity_transition_stands_for_the_bed():
    uv, salt = PlannedTransition("load", "uv"), PlannedTransition("strip", "conductivity")
    assert transitions.official([uv, salt]) is salt
    assert transitions.official([uv]) is uv


@pytest.fixture
def stored(life: Site) -> list[Transition]:
    with life.writing() as session:
        return list(queries.of_packing(session, 1, with_curves=True))


def test_every_planned_transition_of_every_cycle_is_stored_once(stored: list[Transition]):
    names = [planned["name"] for planned in SHORT_PLAN.transitions]
    assert [row.name for row in stored] == names * builders.HEALTHY
    assert all(row.usable and not row.superseded for row in stored)


def test_a_result_names_its_method_version_and_settings(stored: list[Transition]):
    for row in stored:
        assert row.method
        assert row.method_version
        assert row.settings["grid_points"] == len(transitions.grid_of(row))
        assert row.how_found
        assert all(u >= 0 for _, u in row.estimates.values())


def test_the_front_is_where_and_as_wide_as_the_bed_model_made_it(stored: list[Transition]):
    """Mean and variance of the model's front, from its own moments: 1 % and 10 % at the median cycle."""
    ratios = []
    for cycle in range(1, builders.HEALTHY + 1):
        row = next(r for r in stored[2 * (cycle - 1) :] if r.name == "wash to strip")
        state = lives.state_at(PLOVER, cycle, seed=builders.SEED)
        run = bed_model.Run(velocity_m_s=150 / 360000, temperature_k=state.temperature_k)
        bed = lives.bed_of(PLOVER, state)
        grid = np.arange(0.0, 4.0, 0.002)
        front = bed_model.curve(bed, run=run, lag_cv=state.truth.probe_lag_cv).step(grid)
        hold_up = PLOVER.column.hold_up_ml * 1e-6 / PLOVER.bed_volume_m3
        mean = np.trapezoid(1 - front, grid) - hold_up
        variance = 2 * np.trapezoid((1 - front) * grid, grid) - (mean + hold_up) ** 2
        ratios.append((row.estimates["mean_cv"][0] / mean, row.estimates["variance_cv2"][0] / variance))
    mean_ratio, variance_ratio = np.median(ratios, axis=0)
    assert mean_ratio == pytest.approx(1.0, abs=0.01)
    assert variance_ratio == pytest.approx(1.0, abs=0.10)


def test_curves_rise_from_nothing_to_all(stored: list[Transition]):
    for row in stored:
        assert row.fraction is not None
        assert row.fraction[0] == pytest.approx(0.0, abs=0.02)
        assert row.fraction[-1] == pytest.approx(1.0, abs=0.02)


def test_reference_curves_come_from_the_first_cycles_and_stay(life: Site, stored: list[Transition]):
    with life.writing() as session:
        references = transitions.reference_curves(session, 1)
    for name, curve in references.items():
        first = [row.fraction for row in stored if row.name == name][: transitions.REFERENCE_CYCLES]
        assert np.allclose(curve, np.mean(first, axis=0))
    assert set(references) == {"wash to strip", "strip to rinse"}


def test_a_transition_that_is_missing_is_stored_with_why(site: Site):
    content = builders.make_cycle_file(DOTTEREL, 1, skid="comma volume").content.replace(b",Rinse", b",Strip")
    reply = site.post_run(
        ("run.csv", content), credentials=bearer(site.token("operator")), column=DOTTEREL.column.name
    ).json()
    assert reply["verdict"] == "in limits"
    with site.writing() as session:
        found, missing = queries.of_packing(session, 2)
        assert found.usable
        assert not missing.usable
        assert missing.method == "not found"
        assert "Rinse" in missing.doubts[0]["sentence"]
        assert missing.estimates == {}


@pytest.mark.parametrize("skid", ["comma volume", "semicolon comma", "time and flow", "pairs", "clock"])
def test_the_same_run_in_five_layouts_gives_the_same_numbers(session: Session, people: dict[str, User], skid):
    bed = packings.bed_of(builders.make_packing(session, PLOVER, by=people["engineer"]))
    numbers = []
    for layout in ("comma volume", skid):
        file = builders.make_cycle_file(PLOVER, 3, skid=layout)
        trace = reading.read(
            file.content,
            filename=file.filename,
            bed_volume_m3=bed.bed_volume_m3,
            column_area_m2=bed.cross_section_m2,
        )
        found = transitions.analyse(trace, builders.planned(), bed)
        assert all(one.usable for one in found)
        result = found[0].result
        assert result is not None
        numbers.append([result.estimates[name].value for name in ("mean_cv", "hetp_moments", "asymmetry")])
    assert numbers[1] == pytest.approx(numbers[0], rel=0.02)


def test_the_traces_flow_is_looked_at_while_a_front_passes(session: Session, people: dict[str, User]):
    bed = packings.bed_of(builders.make_packing(session, PLOVER, by=people["engineer"]))
    file = builders.make_cycle_file(PLOVER, 3)
    steady = reading.read(file.content, filename=file.filename, bed_volume_m3=bed.bed_volume_m3)
    flow = reading.signal_of(steady, "flow")
    assert flow is not None
    rising = replace(flow, values=flow.values * np.linspace(1, 5, flow.values.size))
    signals = tuple(rising if one is flow else one for one in steady.signals)
    for trace, is_doubted in ((steady, False), (replace(steady, signals=signals), True)):
        result = transitions.analyse(trace, builders.planned(), bed)[0].result
        assert result is not None
        assert ("flow_not_constant" in {doubt.code for doubt in result.doubts}) is is_doubted
