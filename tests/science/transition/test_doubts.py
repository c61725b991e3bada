"""What a plant does to a record is said by name, and what can't be read isn't charted."""

from __future__ import annotations

import numpy as np
import pytest
from tests.science.transition import simulated

from beadline.science import transition

FRONT = simulated.tailing(0.85, 0.03, 0.05)
V = np.linspace(-0.2, 2.0, 500)


def clean(noise=0.003):
    return FRONT.cumulative(V) + np.random.default_rng(7).normal(0, noise, V.size)


def read(volume, signal, **settings):
    return transition.analyse(
        volume, signal, bed_volume_m3=1.0, bed_height_m=0.2, settings=transition.Settings(**settings)
    )


def codes(result):
    return {doubt.code for doubt in result.doubts}


def test_sound_record_raises_no_doubt():
    result = read(V, clean())
    assert result.usable
    assert not result.doubts


@pytest.mark.parametrize(
    ("signal", "code"),
    [
        (np.full(V.size, 3.0), "step_too_small"),
        (np.random.default_rng(1).normal(size=V.size), "not_a_step"),
        (np.exp(-0.5 * ((V - 0.9) / 0.1) ** 2), "not_a_step"),
        (clean(0.15), "step_too_small"),
        (np.minimum(clean(), 0.8), "clipped"),
        (np.maximum(clean(), 0.2), "clipped"),
        (V.copy(), "not_fitted"),
    ],
    ids=["flat", "noise", "peak", "buried", "cut above", "cut below", "ramp"],
)
def test_what_isnt_a_whole_step_isnt_charted(signal, code):
    result = read(V, signal)
    assert not result.usable
    assert code in codes(result)


def test_record_cut_before_the_plateau_withholds_what_needs_it():
    keep = V < 1.0
    result = read(V[keep], clean()[keep])
    assert not result.usable
    assert "plateau_not_reached" in codes(result)
    assert {"hetp_moments", "variance_cv2", "v95_cv", "late_tail"} <= set(result.withheld)


def test_record_that_begins_in_the_front():
    keep = V > 0.86
    assert "plateau_before_missing" in codes(read(V[keep], clean()[keep]))


def test_window_that_begins_mid_plateau_reads_the_same():
    keep = V > 0.65
    whole, part = read(V, clean()), read(V[keep], clean()[keep])
    assert part.usable
    assert part.estimates["hetp_moments"].value == pytest.approx(
        whole.estimates["hetp_moments"].value, rel=0.03
    )


@pytest.mark.parametrize("at", [150, 240, 330], ids=["before", "in the front", "after"])
def test_bubble_is_removed_and_said(at):
    signal = clean()
    signal[at : at + 6] = 0.02
    signal[at + 60] += 0.3
    result, whole = read(V, signal), read(V, clean())
    assert "spike_removed" in codes(result)
    assert result.estimates["hetp_moments"].value == pytest.approx(
        whole.estimates["hetp_moments"].value, rel=0.06
    )


def test_missing_values_and_gap():
    signal, keep = clean(), (V < 0.45) | (V > 0.6)
    signal[::17] = np.nan
    result = read(V[keep], signal[keep])
    assert {"missing_values", "axis_jumps"} <= codes(result)
    assert result.usable


def test_volume_that_steps_back():
    v = V.copy()
    v[100:] -= 0.03
    assert "axis_jumps" in codes(read(v, clean()))


@pytest.mark.parametrize(
    ("every", "code", "usable"), [(8, "few_points", True), (16, "too_few_points", False)]
)
def test_few_points(every, code, usable):
    result = read(V[::every], clean()[::every])
    assert code in codes(result)
    assert result.usable == usable


def test_two_points_arent_enough():
    assert codes(read(V[:2], clean()[:2])) == {"too_few_points"}


def test_next_step_in_the_window_is_left_out():
    back = clean() - 0.9 * simulated.gaussian(1.75, 0.03).cumulative(V)
    onward = clean() + 0.5 * simulated.gaussian(1.75, 0.03).cumulative(V)
    for signal in (back, onward):
        result = read(V, signal)
        assert "other_step_cut" in codes(result)
        assert result.estimates["hetp_moments"].value == pytest.approx(8.395e-4, rel=0.03)


def test_by_pass_is_not_taken_for_another_step():
    signal = simulated.two_paths(0.15, 0.62, 0.94, 0.034).cumulative(V)
    result = read(V, signal)
    assert "several_modes" in codes(result)
    assert "other_step_cut" not in codes(result)


def test_retained_step_withholds_plates():
    v = np.linspace(-0.2, 4.0, 800)
    result = read(v, simulated.tailing(2.2, 0.1, 0.2).cumulative(v))
    assert "retained" in codes(result)
    assert not result.usable
    assert {"hetp_moments", "hetp_width"} <= set(result.withheld)


def test_self_sharpening_step():
    v = np.linspace(0.5, 1.5, 4000)
    result = read(v, simulated.gaussian(1.1, 0.002).cumulative(v))
    assert "self_sharpening" in codes(result)
    assert not result.usable


def test_direction_against_the_plan():
    result = read(V, clean(), direction="down")
    assert "wrong_direction" in codes(result)
    assert not result.usable


def test_wandering_plateaus():
    assert "uneven_plateaus" in codes(read(V, clean(0.001) + 0.008 * np.sin(V * 9)))


def test_sloping_plateaus_are_said_and_dont_bias():
    result = read(V, clean() + 0.05 * V)
    assert "plateaus_slope" in codes(result)
    assert result.estimates["hetp_moments"].value == pytest.approx(8.395e-4, rel=0.03)


def test_held_values_dont_make_a_tail():
    plant = simulated.Plant(points=500, noise=0.0008, held=0.01)
    errors = []
    for seed in range(20):
        v, y = simulated.trace(simulated.gaussian(0.9, 0.03), plant, np.random.default_rng(seed))
        errors.append(read(v, y).estimates["hetp_moments"].value / (0.2 * (0.03 / 0.9) ** 2) - 1)
    assert np.median(np.abs(errors)) < 0.05


@pytest.mark.parametrize(
    ("volume", "signal", "said"),
    [
        (np.zeros(3), np.zeros(4), "one length"),
        (np.zeros((2, 2)), np.zeros((2, 2)), "one length"),
    ],
)
def test_arrays_that_dont_match_are_refused(volume, signal, said):
    with pytest.raises(ValueError, match=said):
        read(volume, signal)


@pytest.mark.parametrize("bed", [{"bed_volume_m3": 0.0}, {"bed_height_m": -1.0}, {"bed_volume_m3": np.nan}])
def test_a_bed_that_cant_be_is_refused(bed):
    with pytest.raises(ValueError, match="bed_"):
        transition.analyse(V, clean(), **({"bed_volume_m3": 1.0, "bed_height_m": 0.2} | bed))


def test_reference_on_another_grid_is_refused():
    with pytest.raises(ValueError, match="161"):
        transition.analyse(V, clean(), bed_volume_m3=1.0, bed_height_m=0.2, reference=np.zeros(7))


@pytest.mark.parametrize(
    "wrong",
    [
        {"window_cv": (1, 0)},
        {"direction": "sideways"},
        {"grid_points": 1},
        {"width_levels": (0.9, 0.1)},
        {"asymmetry_level": 1.5},
        {"system_variance_m6": -1},
        {"response_signal": (1, 2)},
        {"response_signal": (2, 1), "response_concentration": (1, 2)},
    ],
)
def test_settings_that_cant_be_meant_are_refused(wrong):
    with pytest.raises(ValueError):
        transition.Settings(**wrong)


def test_settings_are_stored_and_read_back():
    chosen = transition.Settings(
        direction="up", hold_up_m3=1e-4, response_signal=(0, 1), response_concentration=(0, 2)
    )
    assert transition.Settings.from_dict(chosen.to_dict()) == chosen
    with pytest.raises(ValueError, match="colour"):
        transition.Settings.from_dict({"colour": "red"})


def test_stored_names_stay():
    result = read(V, clean())
    assert (result.method, result.version) == ("fitted_front_with_remainder", "4")
