"""Pressure over a bed against published equations and an independent library."""

from __future__ import annotations

import json
from pathlib import Path

import fluids
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from beadline.science import hydraulics, viscosity
from beadline.science.estimates import Estimate

TABLE = json.loads((Path(__file__).parent / "reference" / "pressure_drop.json").read_text())["cases"]
DROPS = [case for case in TABLE if "ergun_Pa" in case["expected"]]


def _bed(given: dict) -> dict[str, float]:
    return {
        "velocity_m_s": given["u_cm_h"] / 3.6e5,
        "viscosity_pa_s": given["mu_Pa_s"],
        "bead_diameter_m": given["dp_m"],
        "porosity": given["voidage"],
        "bed_height_m": given["L_m"],
    }


@pytest.mark.parametrize("case", DROPS, ids=lambda case: case["id"])
def test_drops_follow_the_published_equations(case):
    bed, expected = _bed(case["inputs"]), case["expected"]
    assert hydraulics.kozeny_carman(**bed) == approx(expected["kozeny_carman_180_Pa"], rel=1e-9)
    assert hydraulics.blake_kozeny(**bed) == approx(expected["blake_kozeny_150_Pa"], rel=1e-9)
    assert hydraulics.ergun(**bed, density_kg_m3=case["inputs"]["rho_kg_m3"]) == approx(
        expected["ergun_Pa"], rel=1e-9
    )


@pytest.mark.parametrize("case", DROPS, ids=lambda case: case["id"])
def test_ergun_agrees_with_an_independent_library(case):
    """fluids.packed_bed.Ergun."""
    bed, density = _bed(case["inputs"]), case["inputs"]["rho_kg_m3"]
    theirs = fluids.packed_bed.Ergun(
        dp=bed["bead_diameter_m"],
        voidage=bed["porosity"],
        vs=bed["velocity_m_s"],
        rho=density,
        mu=bed["viscosity_pa_s"],
        L=bed["bed_height_m"],
    )
    assert hydraulics.ergun(**bed, density_kg_m3=density) == approx(theirs, rel=1e-9)


@pytest.mark.parametrize("case", DROPS, ids=lambda case: case["id"])
def test_permeability_takes_the_drop_back(case):
    bed, expected = _bed(case["inputs"]), case["expected"]
    found = hydraulics.permeability(
        Estimate(expected["kozeny_carman_180_Pa"], 100.0),
        velocity_m_s=bed["velocity_m_s"],
        viscosity_pa_s=Estimate(bed["viscosity_pa_s"], 0.0),
        bed_height_m=bed["bed_height_m"],
    )
    assert found.value == approx(expected["permeability_kozeny_carman_m2"], rel=1e-9)
    assert found.u / found.value == approx(100.0 / expected["kozeny_carman_180_Pa"])


def test_a_denser_bed_explains_a_pressure_rise():
    """Porosity 0.35 to 0.33 raises the drop by 27 %, to 0.30 by 84 % (recomputed)."""
    bed = _bed(DROPS[0]["inputs"])
    drops = [hydraulics.kozeny_carman(**{**bed, "porosity": porosity}) for porosity in (0.35, 0.33, 0.30)]
    assert drops[1] / drops[0] == approx(1.27, abs=0.005)
    assert drops[2] / drops[0] == approx(1.84, abs=0.005)


@settings(max_examples=50, derandomize=True, deadline=None)
@given(
    flow=st.floats(0.3, 3), celsius=st.floats(4, 35), height=st.floats(0.05, 0.5), system=st.floats(0, 5e4)
)
def test_the_corrected_drop_depends_on_neither_flow_temperature_height_nor_system(
    flow, celsius, height, system
):
    """One rigid bed, run in any way, shows one corrected pressure."""
    area, liquid = 0.1, viscosity.water(temperature_k=celsius + 273.15)
    reference = viscosity.water(temperature_k=293.15).value
    bed = {"bead_diameter_m": 90e-6, "porosity": 0.35}
    run = {"velocity_m_s": flow * 1e-4 / area, "viscosity_pa_s": liquid.value, "bed_height_m": height}
    rated = {"velocity_m_s": 1e-4 / area, "viscosity_pa_s": reference, "bed_height_m": 0.2}
    found = hydraulics.at_reference(
        Estimate(hydraulics.kozeny_carman(**bed, **run) + system, 0.0),
        flow_m3_s=Estimate(flow * 1e-4, 0.0),
        viscosity_pa_s=liquid,
        bed_height_m=height,
        reference_flow_m3_s=1e-4,
        reference_viscosity_pa_s=reference,
        reference_bed_height_m=0.2,
        system_drop_pa=Estimate(system, 0.0),
    )
    assert found.value == approx(hydraulics.kozeny_carman(**bed, **rated), rel=1e-9)


def test_uncertainty_of_the_corrected_drop_by_simulation():
    rng = np.random.default_rng(8)
    parts = [rng.normal(*p, size=20000) for p in ((1.5e5, 3e3), (1e-4, 1e-6), (1.2e-3, 2e-5), (1e4, 1e3))]
    drop, flow, liquid, system = parts
    found = hydraulics.at_reference(
        Estimate(1.5e5, 3e3),
        flow_m3_s=Estimate(1e-4, 1e-6),
        viscosity_pa_s=Estimate(1.2e-3, 2e-5),
        bed_height_m=0.2,
        reference_flow_m3_s=2e-4,
        reference_viscosity_pa_s=1e-3,
        system_drop_pa=Estimate(1e4, 1e3),
    )
    assert found.u == approx(np.std((drop - system) / flow / liquid * 2e-4 * 1e-3), rel=0.03)


def test_margins_say_which_limit_is_passed():
    found = hydraulics.margins(
        inlet_pressure_pa=2.85e5,
        pressure_drop_pa=2.2e5,
        packing_pressure_pa=2e5,
        resin_limit_pa=3e5,
        hardware_rating_pa=hydraulics.COMMON_HARDWARE_RATING_PA,
    )
    assert [doubt.code for doubt in found.doubts] == ["above_packing_pressure", "near_hardware_rating"]
    assert found.margins[0].left_pa == approx(-0.2e5)
    assert found.margins[1].share == approx(2.2 / 3)


@pytest.mark.parametrize("wrong", [{"porosity": 1.0}, {"velocity_m_s": 0.0}, {"bed_height_m": float("nan")}])
def test_impossible_beds_are_refused(wrong):
    with pytest.raises(ValueError, match=next(iter(wrong))):
        hydraulics.ergun(**{**_bed(DROPS[0]["inputs"]), **wrong}, density_kg_m3=1000.0)


def test_a_system_that_takes_all_pressure_is_refused():
    one = Estimate(1.0, 0.0)
    with pytest.raises(ValueError, match="pressure_drop_of_the_bed"):
        hydraulics.at_reference(
            one,
            flow_m3_s=one,
            viscosity_pa_s=one,
            bed_height_m=1.0,
            reference_flow_m3_s=1.0,
            reference_viscosity_pa_s=1.0,
            system_drop_pa=Estimate(2.0, 0.0),
        )
