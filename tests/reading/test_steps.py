"""Transitions, found by mark, by volume and by detection, and the conditions around them."""

from __future__ import annotations

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading
from beadline.reading import FoundTransition, MissingTransition, PlannedTransition, find_transitions

BED = skids.BED_M3
RUN = (
    skids.a_run()
)  # wash starts at 200 mL, its front is at 250; strip at 400, front at 450; the bed holds 50 mL
TRACE = reading.read(skids.LAYOUTS["comma-point.csv"](RUN), filename="run.csv")


def find(plan: PlannedTransition, trace: reading.Trace = TRACE) -> FoundTransition | MissingTransition:
    return find_transitions(trace, [plan], bed_volume_m3=BED)[0]


def with_marks(*marks: tuple[float, str]) -> reading.Trace:
    found = tuple(reading.Mark(volume_ml * 1e-6, name) for volume_ml, name in marks)
    return reading.Trace(TRACE.signals, found, None, None, (), TRACE.profile)


@pytest.mark.parametrize("mark", ["Wash", "wash", " WASH ", "w*", "?ash"])
def test_a_mark_opens_the_window(mark):
    found = find(
        PlannedTransition(
            "load to wash", "conductivity", mark=mark, direction="down", start_cv=-0.2, end_cv=2.0
        )
    )
    assert isinstance(found, FoundTransition)
    assert found.switch_volume_m3 == pytest.approx(200e-6, abs=2.1e-6)
    assert -0.2 * BED <= found.volume_m3[0] < 0 < found.volume_m3[-1] <= 2.0 * BED
    middle = found.volume_m3[np.argmin(abs(found.values - 7.0))]
    assert middle == pytest.approx(1.0 * BED, abs=3e-6)


def test_without_a_mark_the_planned_volume_holds_if_the_front_follows():
    found = find(PlannedTransition("strip", "conductivity", volume_cv=8.0, direction="up"))
    assert found.switch_volume_m3 == pytest.approx(400e-6)
    assert "1.0" in found.how


def test_without_a_mark_a_front_elsewhere_moves_the_window_and_says_so():
    found = find(PlannedTransition("strip", "conductivity", volume_cv=9.5, direction="up"))
    assert found.switch_volume_m3 == pytest.approx(400e-6, abs=4e-6)
    assert "retention of this transition means nothing" in found.how


def test_steps_are_detected_without_marks_or_volumes():
    down = find(PlannedTransition("wash", "conductivity", direction="down"), with_marks())
    up = find(PlannedTransition("strip", "conductivity", direction="up"), with_marks())
    assert down.switch_volume_m3 == pytest.approx(200e-6, abs=4e-6)
    assert up.switch_volume_m3 == pytest.approx(400e-6, abs=4e-6)


def test_detected_steps_say_where_and_how_high():
    steps = reading.detect_steps(TRACE, width_m3=0.5 * BED)
    assert [step.direction for step in steps] == ["down", "up"]
    assert [step.volume_m3 for step in steps] == pytest.approx([250e-6, 450e-6], abs=2e-6)
    assert steps[1].after - steps[1].before == pytest.approx(70, rel=0.01)


def test_noise_alone_has_no_steps():
    noise = np.random.default_rng(5).normal(12, 0.05, 1500)
    signal = reading.Signal("Cond", "conductivity", "mS/cm", np.linspace(0, 1e-3, 1500), noise)
    trace = reading.Trace((signal,), (), None, None, (), TRACE.profile)
    assert reading.detect_steps(trace) == ()


def test_a_missing_step_names_those_there_are():
    missing = find(PlannedTransition("x", "conductivity", mark="Elution"))
    assert isinstance(missing, MissingTransition)
    assert "“Load”, “Wash”, “Strip”" in missing.why
    assert missing.mend.endswith(".")


def test_a_step_that_comes_too_seldom():
    missing = find(PlannedTransition("x", "conductivity", mark="Wash", occurrence=2))
    assert "starts 1 time; the plan asks for number 2" in missing.why


def test_a_doubled_step_is_said_and_the_plans_occurrence_decides():
    trace = with_marks((0, "Load"), (200, "Wash"), (400, "Wash"))
    first = find(PlannedTransition("x", "conductivity", mark="Wash"), trace)
    second = find(PlannedTransition("x", "conductivity", mark="Wash", occurrence=2), trace)
    assert first.switch_volume_m3 == pytest.approx(200e-6)
    assert second.switch_volume_m3 == pytest.approx(400e-6)
    assert "starts 2 times" in first.how
    assert "change the plan's occurrence" in first.how


def test_no_marks_no_signal_wrong_way_and_a_trace_cut_short():
    assert "no step marks" in find(PlannedTransition("x", "conductivity", mark="Wash"), with_marks()).why
    assert "no ph signal" in find(PlannedTransition("x", "ph", mark="Wash")).why
    assert "goes down" in find(PlannedTransition("x", "conductivity", mark="Wash", direction="up")).why
    assert (
        "ends 0.20 CV after"
        in find(PlannedTransition("x", "conductivity", mark="End"), with_marks((590, "End"))).why
    )
    assert "stays at" in find(PlannedTransition("x", "temperature", mark="Wash")).why


def test_a_plan_that_can_not_be():
    with pytest.raises(ValueError, match="before it starts"):
        PlannedTransition("x", "conductivity", start_cv=1.0, end_cv=0.5)
    with pytest.raises(ValueError, match="occurrence"):
        PlannedTransition("x", "conductivity", occurrence=0)
    with pytest.raises(ValueError, match="bed_volume_m3"):
        find_transitions(TRACE, [], bed_volume_m3=0.0)


def read_rows(header: list[str], row: list[str]) -> reading.Trace:
    rows = [[str(i), *row] for i in range(100)]
    return reading.read(skids.table(rows, header=[["Volume (mL)", *header]]).encode(), filename="run.csv")


def test_conditions_are_medians_within_the_windows():
    conditions = reading.cycle_conditions(
        TRACE, [find(PlannedTransition("wash", "conductivity", mark="Wash"))]
    )
    assert conditions.temperature_k.value == pytest.approx(294.65)
    assert conditions.pressure_drop_pa.value == pytest.approx(1.8e5)
    assert conditions.flow_m3_s is None
    assert any("pipes and valves" in note for note in conditions.notes)


def test_pressure_drop_is_a_difference_where_both_are_there():
    trace = read_rows(["Pressure before column (bar)", "Pressure after column (bar)"], ["3.0", "1.2"])
    assert reading.cycle_conditions(trace, [(1e-5, 5e-5)]).pressure_drop_pa.value == pytest.approx(1.8e5)


def test_the_inlet_pressure_is_the_highest_that_lasts():
    rows = [[str(i), "2.6" if 40 <= i < 60 else "9.9" if i == 5 else "1.5"] for i in range(100)]
    header = [["Volume (mL)", "Pressure before column (bar)"]]
    trace = reading.read(skids.table(rows, header=header).encode(), filename="run.csv")
    assert reading.cycle_conditions(trace, [(1e-5, 3e-5)]).inlet_pressure_pa.value == pytest.approx(2.6e5)
    drop_alone = read_rows(["Delta P (kPa)"], ["150"])
    assert reading.cycle_conditions(drop_alone, [(1e-5, 3e-5)]).inlet_pressure_pa is None


def test_a_recorded_pressure_difference_goes_first():
    trace = read_rows(["Pressure before column (bar)", "Delta P (kPa)"], ["3.0", "150"])
    assert reading.cycle_conditions(trace, [(1e-5, 5e-5)]).pressure_drop_pa.value == pytest.approx(1.5e5)


def test_flow_comes_from_the_clock_if_there_is_no_flow_signal():
    rows = [[str(i), str(i * 0.5), "12"] for i in range(100)]
    trace = reading.read(
        skids.table(rows, header=[["Volume (mL)", "Time (min)", "Cond (mS/cm)"]]).encode(), filename="a"
    )
    assert reading.cycle_conditions(trace, [(1e-5, 5e-5)]).flow_m3_s.value == pytest.approx(2e-6 / 60)


def test_the_spread_of_a_median_is_that_of_its_samples():
    noise = np.random.default_rng(8).normal(300.0, 1.0, 400)
    signal = reading.Signal("T", "temperature", "K", np.linspace(0, 1e-3, 400), noise)
    trace = reading.Trace((signal,), (), None, None, (), TRACE.profile)
    found = reading.cycle_conditions(trace, [(0.0, 1e-3)]).temperature_k
    assert found.u == pytest.approx(
        1.253 / 20, rel=0.15
    )  # sd of a median of 400: 1.253 sigma / sqrt(n), Kenney & Keeping
