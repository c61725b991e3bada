"""The bed model against analytic moments and published dispersion formulas."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from beadline.science import bed_model
from beadline.science.bed_model import Bed, Run, SidePath

RUN = Run(velocity_m_s=150 / 360000, temperature_k=293.15)
PLAIN = Bed(height_m=0.2, bead_diameter_m=90e-6)
GRID = np.linspace(0, 8, 16001)


def moments(fraction):
    """Mean and variance of a step response, by parts: Levenspiel, 3rd ed., ch. 11 and 13."""
    mean = np.trapezoid(1 - fraction, GRID)
    return mean, 2 * np.trapezoid(GRID * (1 - fraction), GRID) - mean**2


def moments_of(bed, **options):
    return moments(bed_model.step_response(GRID, bed, run=RUN, **options))


def test_a_plain_bed_has_the_mean_of_its_liquid_and_the_variance_of_its_plates():
    mean, variance = moments_of(PLAIN)
    assert mean == pytest.approx(PLAIN.retention_cv, rel=1e-5)
    assert mean**2 / variance == pytest.approx(bed_model.plates(PLAIN, run=RUN), rel=1e-3)


@pytest.mark.parametrize("peclet", [40, 200, 2000])
def test_a_plain_bed_is_the_axial_dispersion_model_with_a_first_type_inlet(peclet):
    """Ogata-Banks: F = 1/2 [erfc((L-vt)/2 sqrt(Dt)) + exp(vL/D) erfc((L+vt)/2 sqrt(Dt))], N = Pe/2.

    It is the inverse Gaussian distribution function (mean 1, shape Pe/2); scipy's is the independent one.
    """
    plates = peclet / 2
    factor = bed_model.plates(PLAIN, run=RUN) / plates
    bed = replace(PLAIN, plate_factor=factor)
    volume = np.linspace(0.01, 3, 400) * bed.retention_cv
    expected = stats.invgauss.cdf(volume / bed.retention_cv, mu=1 / plates, scale=plates)
    got = bed_model.step_response(volume, bed, run=RUN)
    assert np.abs(got - expected).max() < 2e-6 if peclet > 40 else np.abs(got - expected).max() < 1e-4


# Ogata-Banks at Pe 200, volume over mean at which F reaches the level; recomputed from the formula given at
# http://54.243.252.9/ce-5364-webroot/ce5364notes/_build/html/chapters/7analyticalmodels/ogatabanks.html
@pytest.mark.parametrize(
    ("volume", "fraction"),
    [(0.8444602164261, 0.05), (0.9950289522013, 0.5), (1.130814575291, 0.9), (1.172496398574, 0.95)],
)
def test_breakthrough_volumes_of_the_dispersion_model(volume, fraction):
    bed = replace(PLAIN, plate_factor=bed_model.plates(PLAIN, run=RUN) / 100)
    got = bed_model.step_response(np.array([volume * bed.retention_cv]), bed, run=RUN)
    assert got[0] == pytest.approx(fraction, abs=1e-6)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(stirred=st.floats(0.001, 0.15), lag=st.floats(0.0, 0.05))
def test_stirred_volumes_in_series_add_their_volume_and_its_square(stirred, lag):
    """Variances in series add, a stirred tank adds V^2: Levenspiel, 3rd ed., ch. 13 and 14."""
    mean, variance = moments_of(PLAIN)
    more_mean, more_variance = moments_of(replace(PLAIN, mixed_volumes_cv=(stirred,)), lag_cv=lag)
    assert more_mean - mean == pytest.approx(stirred + lag, abs=2e-5)
    assert more_variance - variance == pytest.approx(stirred**2 + lag**2, abs=1e-4 * variance)


@settings(deadline=None, derandomize=True, max_examples=25)
@given(share=st.floats(0.005, 0.3), velocity=st.floats(0.7, 2.0))
def test_two_paths_have_the_moments_of_a_mixture_and_keep_the_liquid(share, velocity):
    """Mixture: mean = sum w m, variance = sum w (s^2 + m^2) - mean^2 (law of total variance)."""
    path = SidePath(share=share, relative_velocity=velocity, plate_ratio=2.0)
    plates = bed_model.plates(PLAIN, run=RUN)
    main = PLAIN.retention_cv / (1 - share + share / velocity)
    side = main / velocity
    expected_mean = (1 - share) * main + share * side
    second = (1 - share) * main**2 * (1 + 1 / plates) + share * side**2 * (1 + 2.0 / plates)
    mean, variance = moments_of(replace(PLAIN, side_paths=(path,)))
    assert mean == pytest.approx(expected_mean, rel=1e-5)
    assert mean == pytest.approx(PLAIN.retention_cv, rel=1e-5)
    assert variance == pytest.approx(second - expected_mean**2, rel=2e-3)


def test_stagnant_liquid_keeps_the_mean_and_adds_its_exchange_to_the_variance():
    """Mobile-immobile model: variance grows by 2 m b T, m mobile mean, b ratio, T exchange volume.

    Derived by hand from the second derivative of the transfer function at 0.
    """
    ratio, exchange = 0.05, 0.2
    mean, variance = moments_of(replace(PLAIN, stagnant_ratio=ratio, stagnant_exchange_cv=exchange))
    mobile = PLAIN.retention_cv / (1 + ratio)
    plain = PLAIN.retention_cv**2 / bed_model.plates(PLAIN, run=RUN)
    assert mean == pytest.approx(PLAIN.retention_cv, rel=1e-5)
    assert variance == pytest.approx(plain + 2 * mobile * ratio * exchange, rel=2e-3)


def test_a_settled_bed_keeps_its_liquid_and_mixes_it_in_the_gap():
    """Beads keep their volume, so the liquid between the adapters does not change: conservation of volume."""
    settled = replace(PLAIN, settled_m=0.006)
    mean, variance = moments_of(settled)
    bed_part = settled.retention_cv**2 / bed_model.plates(settled, run=RUN)
    assert mean == pytest.approx(PLAIN.retention_cv, rel=1e-5)
    assert variance == pytest.approx(bed_part + 0.03**2, rel=1e-3)


def test_lost_resin_is_replaced_by_liquid():
    lost = replace(PLAIN, lost_m=0.01)
    beads = (1 - PLAIN.voidage) * (1 - PLAIN.bead_porosity)
    assert moments_of(lost)[0] == pytest.approx(PLAIN.retention_cv + 0.05 * beads, rel=1e-5)


def test_hold_up_delays_the_curve_unchanged():
    plain = bed_model.step_response(GRID, PLAIN, run=RUN)
    late = bed_model.step_response(GRID + 0.04, replace(PLAIN, hold_up_cv=0.04), run=RUN)
    assert np.abs(plain - late).max() < 1e-6


@pytest.mark.parametrize("injected", [0.005, 0.02, 0.05])
def test_a_plug_adds_half_its_volume_and_a_twelfth_of_its_square(injected):
    """Rectangular injection: V/2 to the mean, V^2/12 to the variance (uniform distribution)."""
    peak = bed_model.pulse_response(GRID, PLAIN, run=RUN, injected_cv=injected)
    area = np.trapezoid(peak, GRID)
    mean = np.trapezoid(GRID * peak, GRID) / area
    variance = np.trapezoid((GRID - mean) ** 2 * peak, GRID) / area
    plain_mean, plain_variance = moments_of(PLAIN)
    assert area == pytest.approx(1, abs=1e-6)
    assert mean - plain_mean == pytest.approx(injected / 2, abs=1e-5)
    assert variance - plain_variance == pytest.approx(injected**2 / 12, abs=3e-3 * plain_variance)


def test_the_fraction_stays_between_0_and_1_and_rises():
    cracked = replace(PLAIN, side_paths=(SidePath(0.05, 1.4),), mixed_volumes_cv=(0.02,), plate_factor=0.5)
    fraction = bed_model.step_response(GRID, cracked, run=RUN)
    assert fraction.min() > -1e-6
    assert fraction.max() < 1 + 1e-6
    assert np.diff(fraction).min() > -1e-6


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"height_m": 0.0}, "height_m must be above 0"),
        ({"voidage": 1.0}, "voidage must be between 0 and 1"),
        ({"mixed_volumes_cv": (-0.1,)}, "mixed_volumes_cv must be 0 or above"),
        ({"settled_m": 0.19}, "small enough"),
        ({"side_paths": (SidePath(0.5, 1.2), SidePath(0.5, 0.8))}, "shares"),
    ],
)
def test_impossible_beds_are_refused_by_name(change, message):
    with pytest.raises(ValueError, match=message):
        replace(PLAIN, **change)


def test_a_pulse_needs_a_volume():
    with pytest.raises(ValueError, match="injected_cv must be above 0"):
        bed_model.pulse_response(GRID, PLAIN, run=RUN, injected_cv=0.0)
