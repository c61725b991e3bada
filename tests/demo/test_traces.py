"""Demo traces: always the same, readable in every layout, and true to the physics they come from."""

from dataclasses import replace

import numpy as np
import pytest

from beadline import reading
from beadline.demo import drop_files, files, lives, pulses, runs
from beadline.kit import places
from beadline.science import bed_model, transition

ONE_OF_EACH_SKID = ["Dunlin 1", "Knot 1", "Whimbrel 2", "Sanderling 1", "Redshank 1"]


@pytest.fixture(params=ONE_OF_EACH_SKID)
def packing(plant, request):
    return plant.packing(request.param)


def signals_of(trace):
    return {
        signal.quantity if signal.quantity != "pressure" else signal.role: signal for signal in trace.signals
    }


def test_a_cycle_is_the_same_in_any_order(plant, packing):
    forward = [files.cycle_file(plant, packing, cycle).content for cycle in packing.cycles[:3]]
    lives._variations.cache_clear()
    lives._warmth_k.cache_clear()
    backward = [files.cycle_file(plant, packing, cycle).content for cycle in packing.cycles[2::-1]]
    assert forward == backward[::-1]
    assert len(set(forward)) == 3


def test_files_are_small_and_named_after_their_cycle(plant, packing):
    file = files.cycle_file(plant, packing, packing.cycles[6])
    assert file.filename.startswith(f"{packing.column.name.lower()}_{packing.number}_cycle_007.")
    assert 20_000 < len(file.content) < 80_000


def test_what_the_skid_wrote_is_read_back(plant, packing):
    cycle = packing.cycles[7]
    recording = runs.cycle_recording(packing, cycle, seed=plant.seed)
    file = files.cycle_file(plant, packing, cycle)
    trace = reading.read(file.content, filename=file.filename)
    signals = signals_of(trace)
    assert [mark.name for mark in trace.marks] == [phase.name for phase in packing.step_plan.phases]
    conductivity = signals["conductivity"]
    known = np.isfinite(recording.signals["conductivity"])
    expected = np.interp(
        conductivity.volume_m3 * 1e3, recording.volume_l[known], recording.signals["conductivity"][known]
    )
    measured = np.isfinite(conductivity.values)
    assert np.median(np.abs(conductivity.values - expected)[measured]) < 0.02
    assert conductivity.volume_m3[-1] * 1e3 == pytest.approx(recording.volume_l[-1], rel=1e-3)
    assert np.median(signals["temperature"].values) == pytest.approx(
        273.15 + np.median(recording.signals["temperature"]), abs=0.05
    )
    assert np.median(signals["pre"].values) == pytest.approx(
        np.median(recording.signals["pre"]) * 1e5, rel=0.02
    )
    assert np.median(signals["flow"].values) == pytest.approx(
        np.median(recording.signals["flow"]) / 3.6e6, rel=0.01
    )


def test_a_pulse_test_is_read_back_with_its_injection(plant, packing):
    file = files.pulse_file(plant, packing, packing.pulse_tests[0])
    trace = reading.read(file.content, filename=file.filename)
    marks = {mark.name: mark.volume_m3 for mark in trace.marks}
    injected = marks["Tracer elution"] - marks["Injection"]
    assert injected == pytest.approx(packing.pulse_tests[0].injection_ml / 1e6, rel=0.4)


def hetp_of(plant, packing, cycle):
    """Plate height of the last transition from its trace, and the bed model's own."""
    file = files.cycle_file(plant, packing, cycle)
    trace = reading.read(file.content, filename=file.filename)
    plan = [reading.PlannedTransition(**fields) for fields in packing.step_plan.transitions]
    found = reading.find_transitions(trace, plan, bed_volume_m3=packing.bed_volume_m3)[-1]
    result = transition.analyse(
        found.volume_m3,
        found.values,
        bed_volume_m3=packing.bed_volume_m3,
        bed_height_m=packing.bed_height_mm / 1e3,
    )
    return result.estimates["hetp_moments"].value


def model_hetp(packing, state):
    """Moments of the model: dispersion plus stirred volumes in series (V and V^2), Levenspiel ch. 13."""
    bed = lives.bed_of(packing, state)
    run = bed_model.Run(
        velocity_m_s=packing.step_plan.reference_velocity_cm_h / 360000, temperature_k=state.temperature_k
    )
    stirred = (*bed.mixed_volumes_cv, state.truth.probe_lag_cv, bed.gap_cv)
    mean = bed.retention_cv + bed.hold_up_cv + sum(stirred)
    variance = bed.retention_cv**2 / bed_model.plates(bed, run=run) + sum(v**2 for v in stirred)
    return bed.height_m * variance / mean**2


@pytest.mark.parametrize("key", ["Oystercatcher 1", "Whimbrel 2", "Lapwing 1"])
def test_a_trace_tells_the_plate_height_of_the_model(plant, key):
    packing = plant.packing(key)
    ratios = [
        hetp_of(plant, packing, cycle)
        / model_hetp(packing, lives.state_at(packing, cycle.number, seed=plant.seed))
        for cycle in (packing.cycles[2], packing.cycles[9], packing.cycles[-1])
    ]
    assert np.median(ratios) == pytest.approx(1, abs=0.05)


def test_a_gap_widens_the_front_and_a_crack_makes_it_early(plant):
    lapwing, godwit = plant.packing("Lapwing 1"), plant.packing("Godwit 1")
    before, after = (hetp_of(plant, lapwing, lapwing.cycles[n - 1]) for n in (40, 60))
    assert after > 1.25 * before
    intact, cracked = (hetp_of(plant, godwit, godwit.cycles[n - 1]) for n in (60, 64))
    assert cracked > 1.3 * intact


def test_the_over_pressure_is_in_its_cycle_only(plant):
    lapwing = plant.packing("Lapwing 1")
    peaks = [
        runs.cycle_recording(lapwing, lapwing.cycles[n - 1], seed=plant.seed).signals["pre"].max()
        for n in (45, 46, 47)
    ]
    assert peaks[1] > peaks[0] + 1.5
    assert peaks[2] < peaks[1] - 1.5


def test_a_drifting_probe_and_a_strong_buffer_leave_the_bed_alone(plant):
    for key, early, late in (("Dunlin 1", 10, 70), ("Avocet 1", 10, 80)):
        packing = plant.packing(key)
        first, last = lives.truth_at(packing, early), lives.truth_at(packing, late)
        instruments = {"probe_gain": 1.0, "probe_offset_ms_cm": 0.0, "salt_strength": 1.0}
        assert first != last
        assert replace(first, **instruments) == replace(last, **instruments)


def test_the_poor_packing_shows_in_its_pulse_test(plant):
    """A tailing, low peak: apex below that of a good bed, per plate theory height ~ sqrt(N)."""
    peaks = []
    for key in ("Turnstone 1", "Oystercatcher 1"):
        packing = plant.packing(key)
        recording = pulses.pulse_recording(packing, packing.pulse_tests[0], seed=plant.seed)
        peaks.append(np.ptp(recording.signals["conductivity"]))
    assert peaks[0] < 0.75 * peaks[1]


def test_the_drop_files_can_be_written_again(tmp_path):
    stored = places.folder("seed_data")
    for file in stored.iterdir():
        if file.is_file():
            (tmp_path / file.name).write_bytes(file.read_bytes())
    written = drop_files.write(tmp_path)
    assert len({path.suffix + path.name.split("_")[0] for path in written}) == 3
    for path in written:
        here = reading.read(path.read_bytes(), filename=path.name)
        there = reading.read((stored / "drop" / path.name).read_bytes(), filename=path.name)
        for mine, theirs in zip(here.signals, there.signals, strict=True):
            assert np.allclose(mine.values, theirs.values, rtol=1e-3, atol=1e-3, equal_nan=True)
