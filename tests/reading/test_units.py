"""Units against published conversion factors."""

from __future__ import annotations

import pytest

from beadline.reading.units import unit_of

# NIST Special Publication 811 (2008), appendix B.8: factors to SI units (values from memory).
SP_811 = [
    ("psi", "pressure", 6.894757e3),
    ("bar", "pressure", 1e5),
    ("atm", "pressure", 1.01325e5),
    ("mmHg", "pressure", 1.333224e2),
    ("kgf/cm2", "pressure", 9.80665e4),
    ("L", "volume", 1e-3),
    ("mL", "volume", 1e-6),
    ("gal", "volume", 3.785412e-3),
    ("h", "time", 3600.0),
    ("min", "time", 60.0),
    ("L/min", "flow", 1.666667e-5),
    ("gal/min", "flow", 6.309020e-5),
]


@pytest.mark.parametrize(("text", "kind", "factor"), SP_811)
def test_factors_to_si(text, kind, factor):
    unit = unit_of(text)
    assert unit.kind == kind
    assert unit.factor == pytest.approx(factor, rel=2e-7)


@pytest.mark.parametrize(
    ("same", "factor"),
    [
        (
            ["mS/cm", "ms/cm", "MS/CM", "[mS/cm]", "(mS/cm)", "mS cm-1", "mS·cm⁻¹", "mS per cm", " mS / cm "],
            1.0,
        ),
        (["µS/cm", "μS/cm", "uS/cm", "us/cm"], 1e-3),
        (["S/m"], 10.0),  # 1 S/m = 10 mS/cm
    ],
)
def test_conductivity_is_read_in_the_ways_it_is_written(same, factor):
    assert {unit_of(text).kind for text in same} == {"conductivity"}
    assert [unit_of(text).factor for text in same] == pytest.approx([factor] * len(same))


@pytest.mark.parametrize(
    ("text", "celsius", "kelvin"),
    [("°C", 20.0, 293.15), ("degC", 0.0, 273.15), ("°F", 212.0, 373.15), ("K", 300, 300)],
)
def test_temperatures(text, celsius, kelvin):
    unit = unit_of(text)
    assert celsius * unit.factor + unit.offset == pytest.approx(kelvin)


@pytest.mark.parametrize(
    ("text", "kind"),
    [("mAU", "uv"), ("AU", "uv"), ("mau", "uv"), ("mL/min", "flow"), ("l/h", "flow"), ("m³/h", "flow"),
     ("cm/h", "velocity"),
     ("cm/hr", "velocity"), ("CV", "bed volumes"), ("CV/h", "bed volumes per time"), ("barg", "pressure"),
     ("bar(g)", "pressure"),
     ("MPa", "pressure"), ("mpa", "pressure"), ("pH", "ph"), ("%", "percent"), ("mV", "another quantity")],
)  # fmt: skip
def test_kinds(text, kind):
    assert unit_of(text).kind == kind


@pytest.mark.parametrize(
    "text", ["", "Wash", "9**9**9", "__import__", "hello world", "a", "1", "(", "mS/cm/s/m", "x" * 500]
)
def test_what_is_no_unit(text):
    assert unit_of(text) is None
