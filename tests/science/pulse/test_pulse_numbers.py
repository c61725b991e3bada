"""Numbers of a pulse test against closed forms, tables and other implementations."""

from __future__ import annotations

import numpy as np
import pytest
from pytest import approx
from scipy import signal as filters
from scipy import stats
from tests.science.pulse import peaks

from beadline.science import pulse
from beadline.science.pulse import emg, plates

TABLE = peaks.cases("pulse_peaks")
NAMES = {
    "N_half_554": ("plates_half_height", 1e-3),
    "N_tangent": ("plates_tangent", 1e-3),
    "N_moments": ("plates_moments", 1e-3),
    "N_foley_dorsey": ("plates_foley_dorsey", 1e-3),
    "As10": ("asymmetry", 2e-3),
    "Ts05": ("tailing_factor", 2e-3),
}


def _from_table(case: dict) -> pulse.PulseResult:
    given = case["inputs"]
    mu, sigma, tau = given["mu"] * 1e-6, given["sigma"] * 1e-6, given.get("tau", 0.0) * 1e-6
    tau = -tau if "mirror_about" in given else tau
    volume = np.linspace(
        max(mu - 20 * sigma + min(60 * tau, 0), -0.5 * mu), mu + 20 * sigma + max(60 * tau, 0), 4001
    )
    return peaks.read(volume, peaks.curve(volume, mu, sigma, tau), bed_volume_m3=1.1 * mu)


@pytest.mark.parametrize("case", TABLE, ids=lambda case: case["id"])
def test_clean_peaks_are_read_within_a_thousandth(case):
    """Widths and plate numbers by root finding to 30 digits (recomputed; see the table's sources)."""
    found = _from_table(case).estimates
    for theirs, (ours, rel) in NAMES.items():
        if theirs in case["expected"]:
            assert found[ours].value == approx(case["expected"][theirs], rel=rel), ours


@pytest.mark.parametrize("tau", [0.3, 1.0, 2.5])
def test_the_fitted_density_is_that_of_scipy(tau):
    """scipy.stats.exponnorm."""
    volume = np.linspace(-8, 40, 500)
    assert emg.density(volume, 1.0, 1.5, tau * 1.5) == approx(
        stats.exponnorm.pdf(volume, tau, 1.0, 1.5), abs=1e-12
    )


def test_half_height_agrees_with_scipys_peak_widths():
    """scipy.signal.peak_widths, rel_height 0.5, on a finely sampled tailing peak."""
    volume = np.linspace(0, 2e-3, 8001)
    height = peaks.curve(volume, 0.85e-3, 30e-6, 40e-6)
    width = filters.peak_widths(height, [int(np.argmax(height))], rel_height=0.5)[0][0] * (
        volume[1] - volume[0]
    )
    found = peaks.read(volume, height).working
    assert found["half_width_m3"] == approx(width, rel=3e-4)


@pytest.mark.parametrize("plates_true", [200, 1000])
def test_tanks_in_series_have_as_many_plates_as_tanks(plates_true):
    """Gamma law of n equal stirred tanks: N = n by moments (Levenspiel, 3rd ed., chapter 14)."""
    volume = np.linspace(0, 2e-3, 3001)
    height = stats.gamma.pdf(volume, plates_true, scale=0.9e-3 / plates_true)
    assert peaks.read(volume, height).estimates["plates_moments"].value == approx(plates_true, rel=1e-3)


def test_axial_dispersion_has_half_the_peclet_number_of_plates():
    """Inverse Gaussian law (Ogata-Banks inlet): variance/mean^2 = 2/Pe exactly."""
    volume, peclet = np.linspace(1e-9, 2e-3, 3001), 800
    height = stats.invgauss.pdf(volume, 2 / peclet, scale=0.9e-3 * peclet / 2)
    assert peaks.read(volume, height).estimates["plates_moments"].value == approx(peclet / 2, rel=1e-3)


@pytest.mark.parametrize(
    "case", [c for c in peaks.cases("injection_and_plates") if c["id"].startswith("injection")]
)
def test_injection_is_taken_off(case):
    """A rectangle adds V/2 to the mean and V^2/12 to the variance."""
    given, expected = case["inputs"], case["expected"]
    wide, sigma = given["V_inj_mL"], given["V_R_mL"] / given["N_true"] ** 0.5
    volume = np.linspace(400, 1400, 4001)
    ends = [stats.norm.cdf(volume - shift, given["V_R_mL"], sigma) for shift in (0.0, wide)]
    result = peaks.read(volume * 1e-6, ends[0] - ends[1], injection_volume_m3=wide * 1e-6)
    assert result.estimates["plates_moments"].value == approx(expected["N_uncorrected"], rel=1e-3)
    assert result.corrected["plates_moments"].value == approx(expected["N_corrected"], rel=1e-3)


def test_system_is_taken_off():
    """Means and variances in series add (Levenspiel, 3rd ed., example 13.3)."""
    case = next(c for c in peaks.cases("injection_and_plates") if c["id"] == "extra-column")
    given, expected = case["inputs"], case["expected"]
    volume = np.linspace(0, 2000e-6, 4001)
    system = pulse.measure_system(
        volume[:801], peaks.curve(volume[:801], given["M1_system"] * 1e-6, given["var_system"] ** 0.5 * 1e-6)
    )
    height = peaks.curve(volume, given["M1_total"] * 1e-6, given["var_total"] ** 0.5 * 1e-6)
    result = peaks.read(volume, height, system=system)
    for ours in ("plates_moments", "plates_half_height", "plates_tangent", "plates_emg"):
        assert result.corrected[ours].value == approx(expected["N_column"], rel=2.5e-3), ours
    assert result.estimates["plates_moments"].value == approx(expected["N_uncorrected"], rel=1e-3)


def test_a_system_as_wide_as_the_peak_leaves_no_value():
    volume = np.linspace(0, 2e-3, 2001)
    height = peaks.curve(volume, 0.9e-3, 30e-6)
    system = pulse.SystemBroadening(
        pulse.measure_system(volume, height).mean_m3, pulse.measure_system(volume, height).variance_m6
    )
    wider = pulse.SystemBroadening(
        system.mean_m3, type(system.variance_m6)(2 * system.variance_m6.value, 0.0)
    )
    result = peaks.read(volume, height, system=wider)
    assert "plates_moments" not in result.corrected
    assert "system_dominates" in [doubt.code for doubt in result.doubts]


def test_units_of_plates():
    """H = L/N, h = H/d_p (USP <621>, Ph. Eur. 2.2.46)."""
    case = next(c for c in peaks.cases("injection_and_plates") if c["id"] == "plates-units")
    plate_number, expected = case["inputs"]["N"], case["expected"]
    rules = plates.formulas(plates.Bed(1.0, 0.2, 90e-6), 5.54)
    q = {"apex": plate_number**0.5, "half_front": 0.0, "half_back": 5.54**0.5, "delay": 0.0, "extra": 0.0}
    assert rules["hetp_half_height"].rule(q) * 100 == approx(expected["HETP_cm"])
    assert rules["plates_per_metre"].rule(q) == approx(expected["plates_per_m"])
    assert rules["reduced_plate_height"].rule(q) == approx(expected["h"])


def test_porosity_of_a_tracer_that_goes_everywhere():
    """V_R = CV [eps + (1 - eps) eps_p]."""
    case = next(c for c in peaks.cases("injection_and_plates") if c["id"] == "tracer-porosity")
    volume = np.linspace(0, 2e-3, 2001)
    height = peaks.curve(volume, case["expected"]["V_R_fully_permeating"] * 1e-6, 30e-6)
    result = peaks.read(
        volume, height, settings=pulse.Settings(particle_porosity=case["inputs"]["eps_particle"])
    )
    assert result.estimates["porosity"].value == approx(case["expected"]["total_porosity"], rel=1e-6)
    assert result.working["interstitial_porosity"] == approx(case["inputs"]["eps_interstitial"], rel=1e-4)


def test_heights_are_the_users_choice():
    """As at 5 % of an EMG with tau = sigma and its 10 % value differ; the table holds both."""
    case = next(c for c in TABLE if c["id"] == "emg-tau1")
    volume = np.linspace(0, 60e-6, 4001)
    height = peaks.curve(volume, 30e-6, 1e-6, 1e-6)
    found = peaks.read(volume, height, settings=pulse.Settings(asymmetry_level=0.05))
    assert found.estimates["asymmetry"].value == approx(case["expected"]["As05"], rel=2e-3)


@pytest.mark.parametrize("kind", ["constant", "linear"])
def test_offset_and_polarity_change_nothing(kind):
    volume = np.linspace(0, 2e-3, 1001)
    height = peaks.curve(volume, 0.9e-3, 30e-6, 20e-6) / 1e4
    chosen = pulse.Settings(baseline=kind)
    upright, dip = (
        peaks.read(volume, height, settings=chosen),
        peaks.read(volume, 7 - 2 * height, settings=chosen),
    )
    for name, estimate in upright.estimates.items():
        assert dip.estimates[name].value == approx(estimate.value, rel=1e-6), name
    assert dip.working["inverted"] == 1.0


def test_a_slope_is_taken_off():
    volume = np.linspace(0, 2e-3, 1001)
    height = peaks.curve(volume, 0.9e-3, 30e-6, 20e-6) / 1e4
    level, tilted = peaks.read(volume, height), peaks.read(volume, height + 0.3 * volume / 2e-3)
    for name, estimate in level.estimates.items():
        assert tilted.estimates[name].value == approx(estimate.value, rel=1e-4), name
