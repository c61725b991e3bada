"""Viscosity against the international release, an independent library and handbook values."""

from __future__ import annotations

import json
from pathlib import Path

import iapws
import pytest
from pytest import approx

from beadline.science import viscosity

TABLE = json.loads((Path(__file__).parent / "reference" / "viscosity.json").read_text())["cases"]
SOLUTES = {"NaCl": "sodium chloride", "ammonium sulfate": "ammonium sulfate", "ethanol": "ethanol"}


@pytest.mark.parametrize("case", [c for c in TABLE if c["id"].startswith("water")], ids=lambda c: c["id"])
def test_water_follows_the_release(case):
    """IAPWS SR6-08."""
    found = viscosity.water(temperature_k=case["inputs"]["t_C"] + 273.15)
    assert found.value * 1e3 == approx(case["expected"]["mu_mPa_s"], rel=1e-9)


@pytest.mark.parametrize("celsius", [0.5, 4, 20, 37, 60, 95])
def test_water_agrees_with_the_full_formulation(celsius):
    """IAPWS-95 with the 2008 viscosity, library iapws, within the release's 1 %."""
    full = iapws.IAPWS95(T=celsius + 273.15, P=0.1).mu
    assert viscosity.water(temperature_k=celsius + 273.15).value == approx(full, rel=2e-3)


@pytest.mark.parametrize(
    "case", [c for c in TABLE if c["inputs"].get("solute") in SOLUTES], ids=lambda c: c["id"]
)
def test_solutions_follow_the_published_equation(case):
    """Laliberte 2007/2009, recomputed from the same constants elsewhere."""
    given = case["inputs"]
    found = viscosity.solution(
        SOLUTES[given["solute"]], mass_fraction=given["mass_fraction"], temperature_k=given["t_C"] + 273.15
    )
    assert found.value * 1e3 == approx(case["expected"]["mu_mPa_s"], rel=1e-9)


@pytest.mark.parametrize(
    ("solute", "share", "mpa_s"),
    [
        ("sodium chloride", 0.05, 1.085),
        ("sodium chloride", 0.10, 1.193),
        ("sodium chloride", 0.20, 1.557),
        ("ethanol", 0.10, 1.538),
        ("ethanol", 0.20, 2.183),
        ("ethanol", 0.30, 2.71),
        ("sodium hydroxide", 0.04, 1.24),
    ],
)
def test_solutions_agree_with_handbook_values(solute, share, mpa_s):
    """Handbook tables at 20 C (values from memory); the stated uncertainty must cover them at 2 u."""
    found = viscosity.solution(solute, mass_fraction=share, temperature_k=293.15)
    assert abs(found.value * 1e3 - mpa_s) < 2 * found.u * 1e3


@pytest.mark.parametrize("case", [c for c in TABLE if "jones-dole" in c["id"]], ids=lambda c: c["id"])
def test_dilute_caustic_follows_jones_dole(case):
    """Jones-Dole coefficients from memory, 3 %; 1 mol/L is 3.85 % by mass."""
    share = (
        case["inputs"]["c_mol_L"] * 0.0385
        if case["inputs"]["c_mol_L"] == 1
        else case["inputs"]["c_mol_L"] * 0.0392
    )
    water = viscosity.water(temperature_k=293.15).value
    found = viscosity.solution("sodium hydroxide", mass_fraction=share, temperature_k=293.15).value / water
    assert found == approx(case["expected"]["relative_viscosity"], rel=5e-3)


@pytest.mark.parametrize("solute", ["sodium chloride", "ammonium sulfate", "ethanol", "sodium hydroxide"])
def test_nothing_dissolved_is_water(solute):
    water = viscosity.water(temperature_k=293.15).value
    assert viscosity.solution(solute, mass_fraction=0.0, temperature_k=293.15).value == approx(
        water, rel=5e-3
    )


@pytest.mark.parametrize("call", [{"mass_fraction": 0.3}, {"mass_fraction": -0.1}, {"temperature_k": 400.0}])
def test_values_outside_the_range_are_refused(call):
    with pytest.raises(ValueError, match=next(iter(call))):
        viscosity.solution("sodium chloride", **{"mass_fraction": 0.1, "temperature_k": 293.15, **call})


def test_unknown_solutes_and_hot_water_are_refused():
    with pytest.raises(ValueError, match="solute"):
        viscosity.solution("sugar", mass_fraction=0.1, temperature_k=293.15)
    with pytest.raises(ValueError, match="temperature_k"):
        viscosity.water(temperature_k=200.0)
