"""The demo plant holds the stories it promises, and dates that look recent."""

import shutil
from datetime import UTC, datetime, timedelta

import pytest

from beadline.demo import lives, scenario
from beadline.kit import places

MIDNIGHT = datetime(2026, 3, 2, tzinfo=UTC)


def test_the_plant_is_as_large_as_promised(plant):
    diameters = [column.inner_diameter_mm for column in plant.columns]
    used = [packing for packing in plant.packings if packing.cycles]
    assert len(used) >= 8
    assert (min(diameters), max(diameters)) == (26, 1400)
    assert 700 <= sum(len(packing.cycles) for packing in plant.packings) <= 900
    assert len({packing.resin.name for packing in used}) >= 4
    assert {column.skid for column in plant.columns} == {
        "comma volume",
        "semicolon comma",
        "time and flow",
        "pairs",
        "clock",
    }


def test_every_plan_analyses_two_or_three_transitions_at_phases_that_exist(plant):
    for plan in plant.step_plans:
        assert 2 <= len(plan.transitions) <= 3
        names = [phase.name for phase in plan.phases]
        assert all(names.count(transition["mark"]) == 1 for transition in plan.transitions)


def test_one_column_was_repacked_and_its_first_packing_has_ended(plant):
    first, second = plant.packing("Whimbrel 1"), plant.packing("Whimbrel 2")
    assert first.column == second.column
    assert first.cycles[-1].started_at < first.unpacked_at < second.packed_at < second.cycles[0].started_at
    open_ones = [packing.column.name for packing in plant.packings if packing.unpacked_at is None]
    assert len(open_ones) == len(set(open_ones))


def test_what_happened_is_in_order_and_recent(plant):
    for packing in plant.packings:
        times = [packing.packed_at, *(cycle.started_at for cycle in packing.cycles)]
        assert times == sorted(times)
        assert times[-1] < MIDNIGHT
        assert [cycle.number for cycle in packing.cycles] == list(range(1, len(packing.cycles) + 1))
        assert all(packing.packed_at < test.performed_at < MIDNIGHT for test in packing.pulse_tests)
        assert all(packing.packed_at < event.happened_at < MIDNIGHT for event in packing.events)
        assert packing.packed_at.date() > packing.lot.received_on
        if packing.cycles and packing.unpacked_at is None:
            assert MIDNIGHT - packing.cycles[-1].started_at < timedelta(days=2)


def test_the_packing_record_agrees_with_itself(plant):
    """Slurry volume = packed volume x compression factor / slurry share: common practice, no source."""
    for packing in plant.packings:
        settled_l = packing.slurry_volume_l * packing.slurry_percent / 100
        assert settled_l / packing.compression_factor == pytest.approx(packing.bed_volume_m3 * 1e3, rel=1e-3)


def test_a_change_goes_in_a_straight_line_to_its_value(plant):
    channelling = plant.packing("Redshank 1")
    shares = [lives.truth_at(channelling, cycle).fast_share for cycle in (54, 55, 99, 120)]
    assert shares == pytest.approx([0.0, 0.07 / 45, 0.07, 0.07])


def test_a_later_change_of_the_same_parameter_takes_over(plant):
    surge = [lives.truth_at(plant.packing("Lapwing 1"), cycle).extra_pressure_bar for cycle in (45, 46, 47)]
    assert surge == [0.0, 2.1, 0.0]


def test_a_field_that_is_not_known_is_refused(tmp_path):
    shutil.copytree(places.folder("seed_data"), tmp_path / "seed")
    packings = tmp_path / "seed" / "packings.toml"
    packings.write_text(packings.read_text().replace("skid_mixing_cv = ", "skid_stirring = ", 1))
    with pytest.raises(TypeError, match="skid_stirring"):
        scenario.load_plant(tmp_path / "seed", today=MIDNIGHT.date())
