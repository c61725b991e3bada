"""Transitions against analytic step responses and simulated records with published models."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from scipy import special, stats
from tests.science.transition import simulated

from beadline.science import transition

REFERENCE = Path(__file__).parents[1] / "reference"
STEPS = json.loads((REFERENCE / "step_responses.json").read_text())["cases"]
RECORDS = json.loads((REFERENCE / "step_traces.json").read_text())
BIASES = {c["id"]: c for c in json.loads((REFERENCE / "step_biases.json").read_text())["cases"]}
LEVELS = {"V05": "v05_cv", "V10": "v10_cv", "V50": "v50_cv", "V90": "v90_cv", "V95": "v95_cv"}


def response(inputs):
    """Front and bed volume (1 CV near the mean) of one analytic case."""
    model = inputs["model"]
    if model == "erf":
        return simulated.gaussian(1.0, inputs["sigma"] / inputs["mu"]), inputs["mu"]
    if model == "tanks_in_series":
        return simulated.tanks(1.0, inputs["n"]), 1.0
    if model == "ogata_banks":
        return simulated.dispersion(1.0, inputs["Pe"]), 1.0
    if model == "emg":
        return simulated.tailing(*(inputs[k] / 1000 for k in ("mu", "sigma", "tau"))), 1000.0
    scale = 1500.0
    w, mu1, s1, mu2, s2 = (inputs[k] for k in ("w1", "mu1", "sigma1", "mu2", "sigma2"))
    return simulated.Front(
        "two paths",
        lambda v: w * special.ndtr((v * scale - mu1) / s1) + (1 - w) * special.ndtr((v * scale - mu2) / s2),
    ), scale


def read(volume_cv, signal, **settings):
    return transition.analyse(
        volume_cv, signal, bed_volume_m3=1.0, bed_height_m=0.2, settings=transition.Settings(**settings)
    )


@pytest.mark.parametrize("case", STEPS, ids=lambda case: case["id"])
def test_clean_step_gives_the_moments_of_its_law(case):
    front, scale = response(case["inputs"])
    v = np.linspace(-0.2, 4.0, 1601)
    found, truth = read(v, 2 + 10 * front.cumulative(v)).estimates, case["expected"]
    assert 0.2 / found["hetp_moments"].value == pytest.approx(truth["N_moments"], rel=1e-3)
    assert found["mean_cv"].value == pytest.approx(truth["M1"] / scale, rel=1e-4)
    assert found["variance_cv2"].value == pytest.approx(truth["M2_central"] / scale**2, rel=1e-3)
    assert found["skewness"].value == pytest.approx(truth["skewness"], rel=5e-3, abs=2e-3)
    assert found["excess_kurtosis"].value == pytest.approx(truth["excess_kurtosis"], rel=0.05, abs=5e-3)
    if "As10_derivative" in truth:
        assert found["asymmetry"].value == pytest.approx(
            truth["As10_derivative"], rel=2e-3 if truth["N_moments"] > 10 else 3e-3
        )
        assert 0.2 / found["hetp_width"].value == pytest.approx(truth["N_gauss_1684"], rel=1e-3)
        assert found["steepest_slope_per_cv"].value == pytest.approx(truth["max_slope"] * scale, rel=1e-3)
    for theirs, ours in LEVELS.items():
        assert found[ours].value == pytest.approx(truth[theirs] / scale, rel=2e-4)


def recorded(case):
    """Draw a record again from its model: volume after the switch [mL] and signal."""
    m = case["model"]
    v = np.arange(-m["switch_volume_mL"], 3751.0, m.get("sampling_mL", 2.5))
    if "cut_at_mL_after_switch" in m:
        v = v[v <= m["cut_at_mL_after_switch"]]
    kind = m["type"]
    if kind.startswith("erf_step"):
        f = special.ndtr((v - m["mu"]) / m["sigma"])
    elif kind == "emg_step":
        f = stats.exponnorm.cdf(v, m["tau"] / m["sigma"], m["mu"], m["sigma"])
    elif kind == "ogata_banks_step":
        f = stats.invgauss.cdf(v, 2 / m["Pe"], scale=m["mean"] * m["Pe"] / 2)
    elif kind == "two_path_step":
        f = m["w1"] * special.ndtr((v - m["mu1"]) / m["sigma1"])
        f = f + (1 - m["w1"]) * special.ndtr((v - m["mu2"]) / m["sigma2"])
    else:
        f = tanks_and_mixer(v, m["n"], m["mean"], m["tank_mL"])
    if kind == "erf_step_nacl_conductivity":
        signal = salt_conductivity(m["c_low"] + (m["c_high"] - m["c_low"]) * f)
    else:
        signal = m["c_start"] + (m["c_end"] - m["c_start"]) * f
    signal = signal + np.random.default_rng(case["noise"].get("seed")).normal(0, case["noise"]["sd"], v.size)
    for start, end, left in m.get("dropouts_after_switch_mL", []):
        signal[(v >= start) & (v <= end)] *= left
    return v, np.round(signal, 5)


def tanks_and_mixer(v, n, mean, mixer):
    """Gamma law convolved with an exponential, by quadrature on a fine grid."""
    x = np.arange(0.0, 4000.0, 1.0)
    density = stats.gamma.pdf(x, n, scale=mean / n)
    weight = density / density.sum()
    late = np.clip(v[:, None] - x[None, :], 0, None)
    return (weight * -np.expm1(-late / mixer)).sum(axis=1)


def salt_conductivity(c):
    """NaCl at 25 degC [mS/cm]; McCleskey, J. Chem. Eng. Data 56 (2011) 317, coefficients at 25 degC."""
    root = np.sqrt(c)
    return c * (127.534375 - 93.1375 * root / (1 + 1.3 * root))


@pytest.mark.parametrize("case", RECORDS["traces"], ids=lambda case: case["id"])
def test_simulated_record_is_read_within_its_tolerance(case):
    bed = RECORDS["bed"]["volume_mL"]
    v, signal = recorded(case)
    result = transition.analyse(v * 1e-6, signal, bed_volume_m3=bed * 1e-6, bed_height_m=0.2)
    truth, allowed = case["truth"], case["tolerance"]
    doubts = {doubt.code for doubt in result.doubts}
    expected = {
        "incomplete_plateau": "plateau_not_reached",
        "multiple_modes": "several_modes",
        "low_signal_to_noise": "noise_high",
        "coarse_sampling": "few_points",
        "spike": "spike_removed",
    }
    assert {expected[f] for f in case["expected_flags"] if f in expected} <= doubts
    if allowed["moments_rel"] is None:
        return
    found = result.estimates
    assert result.usable
    assert found["hetp_moments"].value == pytest.approx(
        truth["HETP_moments_cm"] / 100, rel=allowed["moments_rel"]
    )
    assert found["mean_cv"].value == pytest.approx(truth["M1_mL"] / bed, rel=2e-3)
    assert found["v50_cv"].value == pytest.approx(truth["V50_mL"] / bed, rel=2e-3)
    if "As10_derivative" in truth:
        assert found["asymmetry"].value == pytest.approx(truth["As10_derivative"], rel=allowed["shape_rel"])


def case_named(name):
    return next(case for case in RECORDS["traces"] if case["id"] == name)


def test_record_that_stops_at_93_percent_isnt_charted():
    v, signal = recorded(case_named("step_07_up_incomplete_plateau"))
    result = transition.analyse(v * 1e-6, signal, bed_volume_m3=1.5708e-3, bed_height_m=0.2)
    assert not result.usable
    assert "hetp_moments" in result.withheld
    assert "hetp_moments" not in result.estimates


def test_curved_detector_is_put_right_by_its_response_curve():
    case = case_named("step_11_up_nonlinear")
    v, signal = recorded(case)
    bed = RECORDS["bed"]["volume_mL"]
    concentration = np.linspace(0.01, 1.1, 150)
    settings = transition.Settings(
        response_signal=tuple(salt_conductivity(concentration)), response_concentration=tuple(concentration)
    )
    taken = {"bed_volume_m3": bed * 1e-6, "bed_height_m": 0.2}
    bent = transition.analyse(v * 1e-6, signal, **taken).estimates
    straight = transition.analyse(v * 1e-6, signal, settings=settings, **taken).estimates
    assert 0.2 / straight["hetp_moments"].value == pytest.approx(case["truth"]["N_moments"], rel=1e-3)
    assert 0.2 / bent["hetp_moments"].value == pytest.approx(
        case["conductivity_domain"]["N_moments"], rel=2e-3
    )
    assert straight["plateau_after"].value == pytest.approx(signal[-1], rel=1e-5)


@pytest.mark.parametrize("end", ["0.99", "0.995", "0.999"])
def test_cut_tail_doesnt_bias_the_variance_as_renormalising_does(end):
    cut = BIASES[f"truncation-emg-F{end}"]
    front = simulated.tailing(1.0, 0.05, 0.05)
    v = np.arange(0.0, cut["expected"]["V_end"] / 1000, 0.002)
    found = read(v, front.cumulative(v)).estimates
    assert found["variance_cv2"].value == pytest.approx(0.005, rel=2e-3)


def test_shift_against_a_reference_is_its_own_size():
    shift = BIASES["overlay-shift"]
    sd = shift["inputs"]["sigma"] / shift["inputs"]["mu"]
    delta = shift["inputs"]["delta"] / shift["inputs"]["mu"]
    v = np.linspace(-0.2, 2, 1001)
    first = read(v, simulated.gaussian(1.0, sd).cumulative(v))
    later = transition.analyse(
        v,
        simulated.gaussian(1.0 + delta, sd).cumulative(v),
        bed_volume_m3=1.0,
        bed_height_m=0.2,
        reference=first.fraction,
    )
    apart = later.estimates["difference_from_reference"].value
    assert apart == pytest.approx(shift["expected"]["area_abs_difference"] / 1000, rel=2e-3)


def test_early_foot_and_late_tail_of_a_gaussian():
    """phi(2.5) - 2.5 Phi(-2.5) in units of the width, by hand from normal tables: 0.00200."""
    v = np.linspace(-0.2, 2, 1001)
    found = read(v, simulated.gaussian(0.9, 0.03).cumulative(v)).estimates
    assert found["early_foot"].value == pytest.approx(0.0020045, rel=2e-3)
    assert found["late_tail"].value == pytest.approx(0.0020045, rel=2e-3)


def test_tubing_is_taken_off():
    v = np.linspace(-0.2, 2, 1001)
    bed, lines = simulated.gaussian(0.9, 0.03), simulated.gaussian(1.0, np.hypot(0.03, 0.01))
    alone = read(v, bed.cumulative(v)).estimates
    corrected = read(v, lines.cumulative(v), hold_up_m3=0.1, system_variance_m6=1e-4).estimates
    for name in ("mean_cv", "variance_cv2", "hetp_moments", "v50_cv"):
        assert corrected[name].value == pytest.approx(alone[name].value, rel=1e-4)
