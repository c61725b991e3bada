"""Packing arithmetic against worked examples."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pytest import approx

from beadline.science import packing
from beadline.science.estimates import Estimate

TABLE = {
    case["id"]: case
    for case in json.loads((Path(__file__).parent / "reference" / "packing_arithmetic.json").read_text())[
        "cases"
    ]
}


@pytest.mark.parametrize("name", [name for name in TABLE if name.startswith("slurry-CF")])
def test_plans(name):
    given_, expected = TABLE[name]["inputs"], TABLE[name]["expected"]
    found = packing.plan(
        diameter_m=given_["D_cm"] / 100,
        bed_height_m=given_["L_cm"] / 100,
        compression_factor=given_["compression_factor"],
        slurry_fraction=Estimate(given_["slurry_percent"] / 100, 0.0),
    )
    assert found.bed_volume_m3 * 1e3 == approx(expected["V_packed_L"])
    assert found.settled_volume_m3 * 1e3 == approx(expected["V_settled_L"])
    assert found.slurry_volume_m3.value * 1e3 == approx(expected["V_slurry_L"])
    assert found.settled_height_m * 100 == approx(expected["settled_height_cm"])
    assert found.compression_percent == approx(expected["compression_percent"])


def test_slurry_sample_and_dilution():
    given_, expected = TABLE["slurry-concentration"]["inputs"], TABLE["slurry-concentration"]["expected"]
    found = packing.slurry_concentration(
        bed_m3=given_["V_settled_mL"] * 1e-6, total_m3=given_["V_slurry_mL"] * 1e-6, method="settled"
    )
    assert found.fraction.value * 100 == approx(expected["slurry_percent"])
    added = packing.liquid_to_add(
        slurry_volume_m3=given_["V_slurry_total_L"] * 1e-3,
        slurry_fraction=found.fraction.value,
        target_fraction=given_["target_percent"] / 100,
    )
    assert added * 1e3 == approx(expected["V_liquid_to_add_L"])


def test_a_centrifuged_sample_reads_less_bed():
    """2 to 5 % less (common practice, no source): the same slurry must come out the same."""
    settled = packing.slurry_concentration(bed_m3=60e-6, total_m3=100e-6, method="settled")
    spun = packing.slurry_concentration(bed_m3=60e-6 * 0.965, total_m3=100e-6, method="centrifuged")
    assert spun.fraction.value == approx(settled.fraction.value)
    assert spun.fraction.u / spun.fraction.value == approx(0.0104, abs=2e-4)
    assert [doubt.code for doubt in spun.doubts] == ["centrifuged_sample"]


def test_bed_height_from_slurry():
    given_, expected = TABLE["bed-height-from-slurry"]["inputs"], TABLE["bed-height-from-slurry"]["expected"]
    found = packing.bed_height(
        slurry_volume_m3=given_["V_slurry_L"] * 1e-3,
        slurry_fraction=Estimate(given_["slurry_percent"] / 100, 0.0055),
        compression_factor=given_["compression_factor"],
        diameter_m=given_["D_cm"] / 100,
    )
    assert found.value * 100 == approx(expected["L_cm"])
    assert found.u / found.value == approx(0.01)


def test_compression_and_packing_factor():
    given_, expected = TABLE["packing-factor"]["inputs"], TABLE["packing-factor"]["expected"]
    found = packing.packed(
        final_height_m=given_["L_final_cm"] / 100,
        settled_height_m=given_["L_settled_cm"] / 100,
        consolidated_height_m=given_["L_consolidated_cm"] / 100,
    )
    assert found.compression_factor == approx(expected["compression_factor"])
    assert found.compression_percent == approx(expected["compression_percent"])
    assert found.packing_factor == approx(expected["packing_factor"])
    assert found.doubts == ()


def test_velocity_flow_and_residence_time():
    given_, expected = TABLE["linear-velocity"]["inputs"], TABLE["linear-velocity"]["expected"]
    size = {"diameter_m": given_["D_cm"] / 100, "bed_height_m": given_["L_cm"] / 100}
    found = packing.flow(**size, velocity_m_s=given_["u_cm_h"] / 3.6e5)
    assert found.flow_m3_s * 3.6e6 == approx(expected["flow_L_h"])
    assert found.residence_time_s / 60 == approx(expected["residence_time_min"])
    assert found.cv_per_s * 3600 == approx(expected["CV_per_h"])
    assert packing.flow(**size, flow_m3_s=found.flow_m3_s).velocity_m_s == approx(found.velocity_m_s)


@settings(max_examples=50, derandomize=True, deadline=None)
@given(
    diameter=st.floats(0.01, 2), height=st.floats(0.02, 1), factor=st.floats(1, 1.3), share=st.floats(0.2, 1)
)
def test_a_planned_slurry_gives_the_planned_height(diameter, height, factor, share):
    slurry = Estimate(share, 0.01 * share)
    planned = packing.plan(
        diameter_m=diameter, bed_height_m=height, compression_factor=factor, slurry_fraction=slurry
    )
    found = packing.bed_height(
        slurry_volume_m3=planned.slurry_volume_m3.value,
        slurry_fraction=slurry,
        compression_factor=factor,
        diameter_m=diameter,
    )
    assert found.value == approx(height)
    assert found.u == approx(planned.bed_height_m.u)


def test_unusual_packings_are_told():
    """Ranges are common practice, no source."""
    assert packing.packed(final_height_m=0.2, settled_height_m=0.19).doubts[0].code == "compression_unusual"
    assert packing.packed(final_height_m=0.2, settled_height_m=0.30).doubts[0].code == "compression_unusual"
    assert packing.packed(final_height_m=0.2, consolidated_height_m=0.19).doubts[0].code == "bed_relaxed"
    thin = packing.slurry_concentration(bed_m3=3e-5, total_m3=1e-4, method="settled")
    assert thin.doubts[0].code == "slurry_unusual"


def test_practice_warns_of_what_applies_and_names_no_source():
    every = packing.warnings(
        packed_in_water=True,
        feed_is_viscous_or_conductive=True,
        axial_compression=True,
        resin_swells=True,
        packing_pressure_pa=2e5,
        operating_pressure_pa=2.1e5,
    )
    assert len(every) == 6
    assert all("common practice" in doubt.sentence.lower() for doubt in every)
    quiet = packing.warnings(packing_pressure_pa=2e5, operating_pressure_pa=1e5, hardware_rating_pa=3e5)
    assert quiet == ()


def test_impossible_packings_are_refused():
    with pytest.raises(ValueError, match="compression_factor"):
        packing.plan(
            diameter_m=1.0, bed_height_m=0.2, compression_factor=0.9, slurry_fraction=Estimate(0.5, 0.0)
        )
    with pytest.raises(ValueError, match="bed_m3"):
        packing.slurry_concentration(bed_m3=2.0, total_m3=1.0, method="settled")
    with pytest.raises(ValueError, match="either velocity_m_s or flow_m3_s"):
        packing.flow(diameter_m=1.0, bed_height_m=0.2)
