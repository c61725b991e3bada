"""What a packing record comes to: compression, flow, pressure, and what practice warns of."""

from __future__ import annotations

from collections.abc import Sequence

from beadline.features.library.schemas import AsPacked
from beadline.features.library.service.planning import expected_lines
from beadline.features.packings import service as packings
from beadline.kit import words
from beadline.science import hydraulics, packing, viscosity
from beadline.science.estimates import Doubt, Estimate
from beadline.store.tables import Cycle, Packing

ALIKE = 0.03  # compression factor typed and from heights; more apart than this, one of them is wrong

Lines = tuple[tuple[str, str], ...]


def as_packed(of: Packing, cycles: Sequence[Cycle]) -> AsPacked:
    """Work out a packing record; `cycles` are the bed's, the newest with a pressure drop counts."""
    heights, doubts = _heights(of)
    newest = next((one for one in reversed(cycles) if _pair(one, "pressure_drop_pa")), None)
    highest = max(
        (pair[0] for one in cycles if (pair := _pair(one, "pressure_drop_as_run_pa"))), default=None
    )
    return AsPacked(
        bed=heights,
        pressure=(*_flow(of), *_expected(of), *_measured(of, newest)),
        warnings=tuple(doubt.sentence for doubt in (*doubts, *_practice(of, highest))),
    )


def _heights(of: Packing) -> tuple[Lines, tuple[Doubt, ...]]:
    record = packing.packed(
        final_height_m=of.bed_height_mm * 1e-3,
        settled_height_m=_metres(of.settled_height_mm),
        consolidated_height_m=_metres(of.consolidated_height_mm),
    )
    typed, doubts = of.compression_factor, record.doubts
    if typed and record.compression_factor and abs(typed / record.compression_factor - 1) > ALIKE:
        said = (
            f"The record says a compression factor of {typed:.2f}, its heights give "
            f"{record.compression_factor:.2f}: one of them is wrong."
        )
        doubts = (*doubts, Doubt("compression_disagrees", said))
    factor = record.compression_factor or typed
    lines = [
        ("Compression factor", words.number(factor)),
        ("Compression", f"{words.number(packing.compression_percent(factor))} %" if factor else ""),
        ("Packing factor", words.number(record.packing_factor)),
        ("Bed height that the slurry gives", _height_from_slurry(of, factor)),
    ]
    return tuple((label, text) for label, text in lines if text), doubts


def _height_from_slurry(of: Packing, factor: float | None) -> str:
    if not (of.slurry_percent and of.slurry_volume_l and factor):
        return ""
    height = packing.bed_height(
        slurry_volume_m3=of.slurry_volume_l * 1e-3,
        slurry_fraction=Estimate(of.slurry_percent / 100, 0.01),
        compression_factor=factor,
        diameter_m=of.column.inner_diameter_mm * 1e-3,
    )
    value, u = words.with_uncertainty(height.value * 100, height.u * 100)
    return f"{value} ± {u} cm"


def _flow(of: Packing) -> Lines:
    bed = packings.bed_of(of)
    if not bed.reference_flow_m3_s:
        return ()
    flow = packing.flow(
        diameter_m=of.column.inner_diameter_mm * 1e-3,
        bed_height_m=bed.bed_height_m,
        flow_m3_s=bed.reference_flow_m3_s,
    )
    return (
        (
            "Reference flow",
            f"{words.number(flow.flow_m3_s * 3.6e6)} L/h, {words.number(flow.velocity_m_s * 3.6e5)} cm/h",
        ),
        ("Residence time", f"{words.number(flow.residence_time_s / 60)} min"),
    )


def _expected(of: Packing) -> Lines:
    bed = packings.bed_of(of)
    if not bed.reference_flow_m3_s:
        return ()
    expected = hydraulics.expected_drop(
        velocity_m_s=bed.reference_flow_m3_s / bed.cross_section_m2,
        viscosity_pa_s=viscosity.water(temperature_k=hydraulics.REFERENCE_TEMPERATURE_K).value,
        bead_diameter_m=bed.bead_diameter_m,
        bed_height_m=bed.bed_height_m,
    )
    return expected_lines(expected)


def _measured(of: Packing, newest: Cycle | None) -> Lines:
    """Return drop and permeability of the newest cycle, both at reference flow and in water at 20 °C."""
    bed, drop = packings.bed_of(of), _pair(newest, "pressure_drop_pa")
    if newest is None or drop is None or not bed.reference_flow_m3_s:
        return ()
    found = hydraulics.permeability(
        Estimate(*drop),
        velocity_m_s=bed.reference_flow_m3_s / bed.cross_section_m2,
        viscosity_pa_s=viscosity.water(temperature_k=hydraulics.REFERENCE_TEMPERATURE_K),
        bed_height_m=bed.bed_height_m,
    )
    bar, bar_u = words.with_uncertainty(drop[0] / 1e5, drop[1] / 1e5)
    value, u = words.with_uncertainty(found.value * 1e12, found.u * 1e12)
    return (
        (f"Pressure drop measured, cycle {newest.number}", f"{bar} ± {bar_u} bar"),
        (f"Permeability, cycle {newest.number}", f"{value} ± {u} µm²"),
    )


def _practice(of: Packing, highest_drop_pa: float | None) -> tuple[Doubt, ...]:
    pressure = of.packing_pressure_kpa
    return packing.warnings(
        packed_in_water=of.packed_in == "water",
        feed_is_viscous_or_conductive=of.demanding_feed,
        axial_compression=of.packed_by == "axial compression",
        resin_swells=of.lot.resin.swells,
        packing_pressure_pa=pressure * 1e3 if pressure else None,
        operating_pressure_pa=highest_drop_pa,
        hardware_rating_pa=of.column.pressure_rating_kpa * 1e3,
    )


def _metres(mm: float | None) -> float | None:
    return None if mm is None else mm * 1e-3


def _pair(cycle: Cycle | None, name: str) -> tuple[float, float] | None:
    pair = cycle.conditions.get(name) if cycle is not None else None
    return (float(pair[0]), float(pair[1])) if pair and pair[0] > 0 else None
