"""How close the pressure of a cycle comes to what bed, beads and column stand."""

from __future__ import annotations

from beadline.features.overview.schemas import PressureLine, PressureView
from beadline.kit import words
from beadline.kit.looks import Kind
from beadline.science import hydraulics
from beadline.store.tables import Cycle, Packing

PA_IN_BAR = 1e5


def pressure_view(packing: Packing, cycle: Cycle) -> PressureView | None:
    """Return the margins of a cycle's pressure drop; None without a drop that can be.

    Notes
    -----
    The stored drop stands for the inlet's pressure, which is higher by what the tubing takes: the margin to
    the hardware rating is an upper bound, and the page says so.
    """
    pair = cycle.conditions.get("pressure_drop_pa")
    if pair is None or pair[0] < 0:
        return None
    drop_pa = float(pair[0])
    seen = hydraulics.margins(
        inlet_pressure_pa=drop_pa,
        pressure_drop_pa=drop_pa,
        packing_pressure_pa=_pa(packing.packing_pressure_kpa),
        resin_limit_pa=_pa(packing.lot.resin.pressure_limit_kpa),
        hardware_rating_pa=_pa(packing.column.pressure_rating_kpa),
    )
    lines = tuple(
        PressureLine(one.name, one.limit_pa / PA_IN_BAR, one.left_pa / PA_IN_BAR, one.share)
        for one in seen.margins
    )
    said = tuple(doubt.sentence for doubt in seen.doubts)
    kind: Kind = "act" if any(line.left_bar < 0 for line in lines) else "watch" if said else "ok"
    sentence = f"The pressure drop is {words.number(drop_pa / PA_IN_BAR, 3)} bar."
    return PressureView(sentence=" ".join((sentence, *said)), kind=kind, lines=lines)


def _pa(kpa: float | None) -> float | None:
    return kpa * 1e3 if kpa else None
