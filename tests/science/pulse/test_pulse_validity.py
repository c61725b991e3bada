"""Faults of a test are named; verdicts follow the criteria; strange data never break the reading."""

from __future__ import annotations

import json
import warnings

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from pytest import approx
from tests.science.pulse import peaks

from beadline.science import metrics, pulse

VOLUME = np.linspace(0, 2e-3, 1001)
CLEAN = peaks.curve(VOLUME, 0.87e-3, 30e-6, 30e-6) / 1e4
FUZZ = settings(max_examples=60, derandomize=True, deadline=None)


def _codes(result: pulse.PulseResult) -> set[str]:
    return {doubt.code for doubt in result.doubts}


def test_a_good_test_raises_no_doubt():
    result = peaks.read(VOLUME, CLEAN, injection_volume_m3=1e-5, flow_m3_s=0.2 * 5e-3 / 3600)
    assert result.doubts == ()


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"injection_volume_m3": 5e-5}, "large_injection"),
        ({"injection_volume_m3": 1e-6}, "small_injection"),
        ({"flow_m3_s": 1e-5}, "flow_out_of_range"),
        ({"flow_m3_s": np.linspace(2e-7, 4e-7, 1001)}, "flow_not_constant"),
        ({"flow_m3_s": np.zeros(1001)}, "flow_unknown"),
        ({"bed_volume_m3": 0.8e-3}, "retention_late"),
        ({"bed_volume_m3": 2.5e-3}, "retention_early"),
        ({"bead_diameter_m": 900e-6}, "below_theoretical_floor"),
    ],
)
def test_conditions_of_the_test_are_doubted(change, code):
    assert code in _codes(peaks.read(VOLUME, CLEAN, **change))


def test_missing_values_spikes_and_backward_volumes_are_told_and_survived():
    volume, signal = VOLUME.copy(), CLEAN.copy()
    signal[[100, 700]] = np.nan
    signal[200] = 5.0
    volume[300] = volume[250]
    result = peaks.read(volume, signal)
    assert {"missing_values", "spikes_removed", "axis_jumps"} <= _codes(result)
    clean = peaks.read(VOLUME, CLEAN)
    assert result.estimates["plates_moments"].value == approx(
        clean.estimates["plates_moments"].value, rel=1e-3
    )


def test_a_gap_in_the_peak_is_told():
    keep = (VOLUME < 0.90e-3) | (VOLUME > 0.925e-3)
    assert "gap_in_peak" in _codes(peaks.read(VOLUME[keep], CLEAN[keep]))


def test_too_few_points_make_the_test_not_valid():
    coarse = peaks.read(VOLUME[::10], CLEAN[::10])
    assert "few_points" in _codes(coarse)
    assert pulse.judge(coarse).verdict == "not valid"


def test_rounding_to_few_digits_isnt_saturation():
    assert "saturated" not in _codes(peaks.read(VOLUME, np.round(CLEAN * 100)))


def test_a_shoulder_is_told():
    shoulder = peaks.curve(VOLUME, 0.87e-3, 25e-6) + 0.35 * peaks.curve(VOLUME, 0.95e-3, 25e-6)
    assert _codes(peaks.read(VOLUME, shoulder)) & {"shape_not_fitted", "multiple_peaks"}


@pytest.mark.parametrize(
    ("part", "place", "width", "tail"), [(0.05, 0.80e-3, 30e-6, 0.0), (0.2, 0.87e-3, 30e-6, 80e-6)]
)
def test_a_foot_or_second_tail_is_told_and_counted(part, place, width, tail):
    """Without noise, moments of the sum of two peaks follow from those of its parts."""
    extra = peaks.curve(VOLUME, place, width, tail)
    both = (1 - part) * peaks.curve(VOLUME, 0.87e-3, 30e-6, 30e-6) + part * extra
    means, variances = np.array([0.90e-3, place + tail]), np.array([1.8e-9, width**2 + tail**2])
    shares = np.array([1 - part, part])
    mean = shares @ means
    plates = mean**2 / (shares @ (variances + (means - mean) ** 2))
    result = peaks.read(VOLUME, both)
    assert "shape_not_fitted" in _codes(result)
    assert result.estimates["plates_moments"].value == approx(plates, rel=2e-3)


def test_no_peak_gives_a_reason_for_every_metric():
    noise = np.random.default_rng(3).normal(size=1001)
    result = peaks.read(VOLUME, noise)
    assert not result.usable
    assert set(result.withheld) == {metric.name for metric in metrics.PULSE}


def test_the_working_holds_every_construction_and_goes_into_json():
    working = json.loads(json.dumps(dict(peaks.read(VOLUME, CLEAN).working)))
    half, apex, tangent = working["half_line"], working["apex_m3"], working["tangent_front"]
    assert half[1] == approx(working["height"] / 2)
    assert half[0] < apex < half[2]
    assert working["asymmetry_b_m3"] / working["asymmetry_a_m3"] == approx(1.3622, rel=2e-3)
    assert tangent[1] == 0.0
    assert working["tangent_width_m3"] == approx(working["tangent_back"][0] - tangent[0])
    assert len(working["baseline_line"]) == 4
    assert len(working["quiet_parts_m3"]) % 2 == 0


@pytest.mark.parametrize(
    ("criteria", "verdict"),
    [
        (pulse.DEFAULT_CRITERIA, "pass"),
        (pulse.Criteria(asymmetry=(0.8, 1.2)), "fail"),
        (pulse.Criteria(reduced_plate_height=(None, 3.0)), "fail"),
        (pulse.Criteria(plates_per_metre=(2000.0, None)), "pass"),
        (pulse.Criteria(plates_per_metre=(9000.0, None)), "fail"),
    ],
)
def test_the_verdict_follows_the_criteria(criteria, verdict):
    judged = pulse.judge(peaks.read(VOLUME, CLEAN), criteria)
    assert judged.verdict == verdict
    assert all(check.source == "common practice, no source" for check in judged.checks)


def test_a_value_beside_its_limit_says_so():
    noisy = CLEAN + 0.01 * np.random.default_rng(1).normal(size=1001)
    result = peaks.read(VOLUME, noisy)
    limit = result.estimates["asymmetry"].value + result.estimates["asymmetry"].u
    check = next(
        c for c in pulse.judge(result, pulse.Criteria(asymmetry=(0.8, limit))).checks if c.name == "asymmetry"
    )
    assert check.ok
    assert check.near
    assert "uncertainty" in check.sentence


def test_corrected_values_are_judged_when_asked():
    """A sample of 5 % of the CV fails a tight limit as measured and passes for the bed alone."""
    wide = np.interp(VOLUME[:, None] - np.linspace(0, 5e-5, 101), VOLUME, CLEAN).mean(axis=1)
    result = peaks.read(VOLUME, wide, injection_volume_m3=5e-5)
    measured, alone = (
        values["reduced_plate_height"].value for values in (result.estimates, result.corrected)
    )
    limit = (None, (measured + alone) / 2)
    assert pulse.judge(result, pulse.Criteria(reduced_plate_height=limit)).verdict == "fail"
    assert pulse.judge(result, pulse.Criteria(reduced_plate_height=limit, corrected=True)).verdict == "pass"


@pytest.mark.parametrize(
    ("wrong", "match"),
    [
        ({"bed_height_m": 0.0}, "bed_height_m"),
        ({"bed_volume_m3": np.nan}, "bed_volume_m3"),
        ({"bead_diameter_m": -1.0}, "bead_diameter_m"),
        ({"injection_volume_m3": -1.0}, "injection_volume_m3"),
    ],
)
def test_impossible_beds_are_refused(wrong, match):
    with pytest.raises(ValueError, match=match):
        peaks.read(VOLUME, CLEAN, **wrong)


def test_arrays_of_different_length_are_refused():
    with pytest.raises(ValueError, match="differ in length"):
        peaks.read(VOLUME, CLEAN[:-1])


@pytest.mark.parametrize("wrong", [{"baseline": "spline"}, {"asymmetry_level": 0.0}, {"polarity": "left"}])
def test_impossible_settings_are_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        pulse.Settings(**wrong)


@pytest.mark.parametrize("kind", [pulse.Settings, pulse.Criteria])
def test_settings_and_criteria_survive_storage(kind):
    assert kind.from_dict(json.loads(json.dumps(kind().to_dict()))) == kind()
    with pytest.raises(ValueError, match="unknown"):
        kind.from_dict({"colour": "blue"})


def test_method_names_and_doubt_codes_are_stored_names():
    assert (pulse.METHOD, pulse.VERSION) == ("pulse direct reading", "1")


def _sound(result: pulse.PulseResult) -> None:
    """Every metric has a finite value with u, or a reason; nothing is silently NaN."""
    names = {metric.name for metric in metrics.PULSE}
    assert set(result.estimates) | set(result.withheld) == names
    assert not set(result.estimates) & set(result.withheld)
    for estimate in (*result.estimates.values(), *result.corrected.values()):
        assert np.isfinite(estimate.value)
        assert np.isfinite(estimate.u)
        assert estimate.u >= 0
    for value in result.working.values():
        assert np.all(np.isfinite(value))
    assert pulse.judge(result).verdict in ("pass", "fail", "not valid")


@FUZZ
@given(
    arrays.arrays(np.float64, st.integers(0, 120), elements=st.floats(allow_nan=True, allow_infinity=True)),
    st.floats(1e-9, 1e3),
)
def test_any_signal_is_survived(signal, length):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        _sound(peaks.read(np.linspace(0, length, signal.size), signal, injection_volume_m3=1e-5))


@FUZZ
@given(
    place=st.floats(-0.5e-3, 2.5e-3),
    width=st.floats(1e-7, 1e-3),
    tail=st.floats(-3, 3),
    count=st.integers(20, 400),
    noise=st.floats(0, 0.5),
    clip=st.floats(0.05, 2),
    seed=st.integers(0, 99),
)
def test_any_peak_is_survived(place, width, tail, count, noise, clip, seed):
    rng = np.random.default_rng(seed)
    volume = np.sort(rng.uniform(0, 2e-3, count))
    height = peaks.curve(volume, place, width, tail * width if abs(tail) > 0.01 else 0.0) * width
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        _sound(peaks.read(volume, np.minimum(height, clip) + noise * rng.normal(size=count)))


@FUZZ
@given(gain=st.floats(1e-6, 1e6), offset=st.floats(-10, 10), clock=st.floats(1e-3, 1e3))
def test_numbers_depend_on_neither_gain_offset_nor_unit_of_volume(gain, offset, clock):
    before = peaks.read(VOLUME, CLEAN)
    after = peaks.read(VOLUME * clock, gain * (CLEAN + offset), bed_volume_m3=1e-3 * clock)
    for name, estimate in before.estimates.items():
        assert after.estimates[name].value == approx(estimate.value, rel=1e-3), name
