"""What the bed's spread, now and at the end of the campaign, does to the product pool."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from sqlalchemy.orm import Session

from beadline.features.campaign_reviews.schemas import Foreseen, Plan
from beadline.features.transitions import queries as transition_queries
from beadline.features.transitions import service as transitions
from beadline.science import pool as science
from beadline.store.tables import Packing

Floats = NDArray[np.float64]
FIRST, LAST = 5, 5  # curves whose median stands for the qualified and for the present bed


def now_and_at_end(
    session: Session, packing: Packing, plan: Plan, foreseen: Sequence[Foreseen]
) -> tuple[science.Pool | None, science.Pool | None]:
    """Return the pool with the bed as it is, and with the spread foreseen for the end; None if unknown.

    The spread at the end: plate height goes with the square of the width, so the present curve is stretched
    about its middle by the root of the upper end of the plate height's band over its present value.
    """
    if plan.pool_volume_l is None or plan.pool_tank_l is None:
        return None, None
    name = transitions.official(transitions.planned(packing.step_plan)).name
    rows = [row for _, row in transition_queries.curves(session, packing.id, name=name, excluded=False)]
    if len(rows) < FIRST + LAST:
        return None, None
    grid = transitions.grid_of(rows[0])
    curves = [np.asarray(row.fraction, np.float64) for row in rows if row.fraction is not None]
    qualified = np.median([c for c in curves[:FIRST] if c.shape == grid.shape], axis=0)
    present = np.median([c for c in curves[-LAST:] if c.shape == grid.shape], axis=0)
    now = _compared(grid, present, grid, qualified, plan)
    stretch = _stretch(foreseen)
    if stretch is None:
        return now, None
    middle = float(np.interp(0.5, np.maximum.accumulate(present), grid))
    return now, _compared(middle + stretch * (grid - middle), present, grid, qualified, plan)


def _stretch(foreseen: Sequence[Foreseen]) -> float | None:
    one = next((f for f in foreseen if f.prospect.key.endswith("/hetp_moments")), None)
    if one is None or not one.prospect.high:
        return None
    now = float(np.median([value for _, value in one.past[-LAST:]]))
    return float(np.sqrt(max(1.0, one.prospect.high[-1] / now)))


def _compared(
    volume: Floats, present: Floats, grid: Floats, qualified: Floats, plan: Plan
) -> science.Pool | None:
    """Compare; None where a curve does not reach far enough."""
    try:
        return science.compare(
            science.OutletCurve(volume, present),
            science.OutletCurve(grid, qualified),
            shares=(0.99,),
            pool_m3=(plan.pool_volume_l or 0.0) * 1e-3,
            tank_m3=(plan.pool_tank_l or 0.0) * 1e-3,
        )
    except ValueError:
        return None
