"""A cycle's curve over those of the baseline."""

from __future__ import annotations

from sqlalchemy.orm import Session

from beadline.features.drift.schemas import CycleCurve
from beadline.features.drift.service.standing import baseline_cycles
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.store.tables import BedState, Packing


def curve_of_cycle(
    session: Session, packing: Packing, standing: BedState | None, *, name: str, cycle: int | None = None
) -> CycleCurve | None:
    """Return a transition's curve in a cycle, or its newest usable one, over the baseline; None if none."""
    baseline = baseline_cycles(standing)
    wanted = None if cycle is None else sorted({*baseline, cycle})
    found = transition_queries.curves(
        session, packing.id, name=name, cycles=wanted, excluded=cycle is not None
    )
    own = [(number, row) for number, row in found if cycle in (None, number)]
    if not own:
        return None
    number, row = own[-1]
    normal = [each for other, each in found if other in baseline]
    view = transitions.curve_over_normal(
        name, transitions.grid_of(row), row.fraction, row.density_per_cv, normal
    )
    return CycleCurve(number, view)
