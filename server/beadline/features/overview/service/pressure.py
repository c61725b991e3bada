"""How close the pressure of a cycle comes to what bed, beads and column stand."""

from __future__ import annotations

from beadline.features.overview.schemas import PressureLine, PressureView
from beadline.features.packings import service as packings
from beadline.kit import words
from beadline.kit.looks import Kind
from beadline.store.tables import Cycle, Packing

PA_IN_BAR = 1e5


def pressure_view(packing: Packing, cycle: Cycle) -> PressureView | None:
    """Return the margins of a cycle's pressure drop; None without a drop that can be.

    Notes
    -----
    The drop as it was run counts, not the corrected one. Where no pressure before the column was recorded the
    drop stands for it, which is lower by what the tubing takes: the sentence says so.
    """
    drop_pa = _stored(cycle, "pressure_drop_as_run_pa") or _stored(cycle, "pressure_drop_pa")
    if drop_pa is None:
        return None
    inlet_pa = _stored(cycle, "inlet_pressure_pa")
    seen = packings.margins(packing, pressure_drop_pa=drop_pa, inlet_pressure_pa=inlet_pa)
    lines = tuple(
        PressureLine(one.name, one.limit_pa / PA_IN_BAR, one.left_pa / PA_IN_BAR, one.share)
        for one in seen.margins
    )
    said = tuple(doubt.sentence for doubt in seen.doubts)
    kind: Kind = "act" if any(line.left_bar < 0 for line in lines) else "watch" if said else "ok"
    sentence = f"The bed took {words.number(drop_pa / PA_IN_BAR, 3)} bar as it was run; " + (
        "no pressure before the column was recorded, and it is higher than that."
        if inlet_pa is None
        else f"before the column it was {words.number(inlet_pa / PA_IN_BAR, 3)} bar at its highest."
    )
    return PressureView(sentence=" ".join((sentence, *said)), kind=kind, lines=lines)


def _stored(cycle: Cycle, name: str) -> float | None:
    pair = cycle.conditions.get(name)
    return float(pair[0]) if pair is not None and pair[0] >= 0 else None
