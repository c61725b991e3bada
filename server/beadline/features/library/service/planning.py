"""Plan a packing: slurry for a bed, flow, and the pressure to expect."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from beadline.features.library.schemas import PackingPlan
from beadline.kit import forms, words
from beadline.kit.errors import Invalid
from beadline.science import hydraulics, packing, viscosity
from beadline.science.estimates import Doubt, Estimate

READING_U = 0.01  # reading the bed in a sample to about 1 % of the sample; common practice, no source
NEEDED = ("diameter_cm", "height_cm", "compression", "sample_bed_ml", "sample_total_ml")
OPTIONAL = ("velocity_cm_h", "bead_um", "rating_bar", "packing_bar", "use_bar")
TICKS = ("water", "feed", "axial", "swells")
ASKED = (*NEEDED, "sample_method", *OPTIONAL, *TICKS)
METHODS: dict[str, Literal["settled", "centrifuged"]] = {"settled": "settled", "centrifuged": "centrifuged"}


def plan_packing(given: Mapping[str, str]) -> PackingPlan | None:
    """Compute a plan from what was typed; None until all that it needs is given.

    Raises
    ------
    Invalid
        If a value can't be right.
    """
    values = {name: _number(given, name) for name in (*NEEDED, *OPTIONAL)}
    needed = {name: value for name in NEEDED if (value := values[name]) is not None}
    if len(needed) < len(NEEDED):
        return None
    slurry = _slurry(needed, given.get("sample_method", "settled"))
    plan = _plan(needed, slurry.fraction)
    flow, flow_lines = _flow(needed, values["velocity_cm_h"])
    doubts = (*slurry.doubts, *plan.doubts, *_warnings(values, given))
    loaded = plan.slurry_volume_m3
    return PackingPlan(
        numbers=(
            (
                "Slurry, settled share",
                f"{words.number(slurry.fraction.value * 100)} ± {words.number(slurry.fraction.u * 100, 2)} %",
            ),
            ("Bed volume, 1 CV", f"{words.number(plan.bed_volume_m3 * 1e3, 4)} L"),
            ("Settled height", f"{words.number(plan.settled_height_m * 100)} cm"),
            ("Compression", f"{words.number(plan.compression_percent)} %"),
            ("Slurry needed", f"{words.number(loaded.value * 1e3)} ± {words.number(loaded.u * 1e3, 2)} L"),
            ("That u moves the bed height by", f"{words.number(plan.bed_height_m.u * 1e3, 2)} mm"),
            *flow_lines,
            *_pressure(needed, flow, values["bead_um"]),
        ),
        doubts=tuple(doubt.sentence for doubt in doubts),
        formulas=(
            "settled share = bed in the sample / sample; a centrifuged bed / "
            f"{packing.CENTRIFUGED_OVER_SETTLED.value:g}",
            "slurry = area · bed height · compression factor / settled share",
            "compression = 100 (1 − 1 / compression factor)",
            "residence time = bed height / velocity",
            "Blake-Kozeny: drop = 150 · viscosity · velocity · height · (1 − ε)² / (bead² ε³)",
        ),
    )


def _number(given: Mapping[str, str], name: str) -> float | None:
    value = forms.number(given.get(name, ""), where=name)
    if value is not None and value <= 0:
        raise Invalid("This value must be above 0.", where=name, mend="Or leave it empty.")
    return value


def _slurry(needed: Mapping[str, float], method: str) -> packing.Slurry:
    bed, total = needed["sample_bed_ml"], needed["sample_total_ml"]
    if bed > total:
        mend = "Give the bed first, then the whole sample."
        raise Invalid("A sample can't hold more bed than it is.", where="sample_bed_ml", mend=mend)
    if method not in METHODS:
        raise Invalid("Say how the bed in the sample formed.", where="sample_method", mend="Choose one.")
    return packing.slurry_concentration(
        bed_m3=bed * 1e-6,
        total_m3=total * 1e-6,
        method=METHODS[method],
        reading_u_m3=READING_U * total * 1e-6,
    )


def _plan(needed: Mapping[str, float], fraction: Estimate) -> packing.Plan:
    if fraction.value > 1:
        mend = "Check the sample's volumes."
        raise Invalid("This sample is more than settled bed.", where="sample_bed_ml", mend=mend)
    if needed["compression"] < 1:
        mend = "Settled over packed height, usually 1.00 to 1.20."
        raise Invalid("A compression factor is 1 or more.", where="compression", mend=mend)
    return packing.plan(
        diameter_m=needed["diameter_cm"] / 100,
        bed_height_m=needed["height_cm"] / 100,
        compression_factor=needed["compression"],
        slurry_fraction=fraction,
    )


def _flow(
    needed: Mapping[str, float], velocity_cm_h: float | None
) -> tuple[packing.Flow | None, tuple[tuple[str, str], ...]]:
    if velocity_cm_h is None:
        return None, ()
    flow = packing.flow(
        diameter_m=needed["diameter_cm"] / 100,
        bed_height_m=needed["height_cm"] / 100,
        velocity_m_s=velocity_cm_h / 3.6e5,
    )
    return flow, (
        ("Flow", f"{words.number(flow.flow_m3_s * 3.6e6)} L/h, {words.number(flow.cv_per_s * 3600)} CV/h"),
        ("Residence time", f"{words.number(flow.residence_time_s / 60)} min"),
    )


def _pressure(
    needed: Mapping[str, float], flow: packing.Flow | None, bead_um: float | None
) -> tuple[tuple[str, str], ...]:
    if flow is None or bead_um is None:
        return ()
    expected = hydraulics.expected_drop(
        velocity_m_s=flow.velocity_m_s,
        viscosity_pa_s=viscosity.water(temperature_k=hydraulics.REFERENCE_TEMPERATURE_K).value,
        bead_diameter_m=bead_um * 1e-6,
        bed_height_m=needed["height_cm"] / 100,
    )
    return expected_lines(expected)


def expected_lines(expected: hydraulics.ExpectedDrop) -> tuple[tuple[str, str], ...]:
    """Write what rigid beads should cost in pressure, in water at 20 °C."""

    def bar(pa: float) -> str:
        return words.number(pa / 1e5, 2)

    porous = f"porosity {hydraulics.POROSITY:.2f}, water at 20 °C"
    return (
        (f"Pressure drop by Blake-Kozeny ({porous})", f"{bar(expected.blake_kozeny_pa)} bar"),
        (f"Pressure drop by Ergun ({porous})", f"{bar(expected.ergun_pa)} bar"),
        (
            "From a loose to a tight bed (porosity {:.2f} to {:.2f})".format(*hydraulics.POROSITY_RANGE),
            f"{bar(expected.least_pa)} to {bar(expected.most_pa)} bar",
        ),
    )


def _warnings(values: Mapping[str, float | None], given: Mapping[str, str]) -> tuple[Doubt, ...]:
    def pascal(name: str) -> float | None:
        bar = values[name]
        return None if bar is None else bar * 1e5

    return packing.warnings(
        packed_in_water=bool(given.get("water")),
        feed_is_viscous_or_conductive=bool(given.get("feed")),
        axial_compression=bool(given.get("axial")),
        resin_swells=bool(given.get("swells")),
        packing_pressure_pa=pascal("packing_bar"),
        operating_pressure_pa=pascal("use_bar"),
        hardware_rating_pa=pascal("rating_bar"),
    )
