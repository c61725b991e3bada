"""What the present spread of a bed does to the product pool."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from beadline.features.overview.schemas import PoolLine, PoolView
from beadline.kit import words
from beadline.kit.looks import Kind
from beadline.science import pool
from beadline.store.tables import Packing, Transition

FEWEST_NORMAL = 3
TOLD = 0.99  # the share that the sentence speaks of
NOTEWORTHY = 0.03  # a growth smaller than this is not worth a word
TIGHT = 0.95  # of the tank: fuller than this deserves a look


def pool_view(packing: Packing, own: Transition, normal: Sequence[Transition]) -> PoolView | None:
    """Return how the pool grows with this curve against the baseline's mean; None without a baseline.

    Parameters
    ----------
    own : Transition
        The cycle's result for the official transition, with its curve.
    normal : sequence of Transition
        The baseline's results for the same transition, with their curves.
    """
    known = [row.fraction for row in normal if row.fraction is not None and row.id != own.id]
    if own.fraction is None or len(known) < FEWEST_NORMAL:
        return None
    grid = np.linspace(0.0, own.settings["grid_end_cv"], own.settings["grid_points"])
    now = pool.OutletCurve(grid, own.fraction)
    qualified = pool.OutletCurve(grid, np.mean(known, axis=0))
    lines = tuple(_line(packing, now, qualified, share) for share in pool.SHARES)
    told = next((line for line in lines if line.share == TOLD), None)
    sentence, kind = _told(packing, told)
    return PoolView(sentence=sentence, kind=kind, lines=lines, normal=_normal(grid, known, qualified))


def _line(packing: Packing, now: pool.OutletCurve, qualified: pool.OutletCurve, share: float) -> PoolLine:
    try:
        seen = pool.compare(
            now,
            qualified,
            shares=(share,),
            pool_m3=packing.pool_volume_l / 1e3 if packing.pool_volume_l else None,
            tank_m3=packing.pool_tank_l / 1e3 if packing.pool_tank_l else None,
        )
    except ValueError:
        return PoolLine(share, None, None, None, "The curve ends before it holds this share.")
    holding = seen.holdings[0]
    litres = holding.pool_m3.value * 1e3 if holding.pool_m3 else None
    return PoolLine(share, holding.growth.value, litres, holding.overflows, "")


def _normal(
    grid: NDArray[np.float64], known: Sequence[NDArray[np.float64]], qualified: pool.OutletCurve
) -> tuple[float, float] | None:
    """Return between which growths the baseline's own cycles lie."""
    try:
        mean = pool.holding_volume(qualified, share=TOLD).value
        own = [pool.holding_volume(pool.OutletCurve(grid, curve), share=TOLD).value / mean for curve in known]
    except ValueError:
        return None
    return min(own), max(own)


def _told(packing: Packing, line: PoolLine | None) -> tuple[str, Kind]:
    if line is None or line.growth is None:
        return "This curve does not reach far enough to say what the pool becomes.", "void"
    grown = line.growth - 1
    if abs(grown) < NOTEWORTHY:
        said = f"Holding 99 % of the product takes as much as with the baseline, within {NOTEWORTHY:.0%}"
    else:
        times = words.number(line.growth, 3)
        said = f"Holding 99 % of the product now takes {times} times the baseline's volume"
    if line.litres is None or not packing.pool_tank_l:
        return f"{said}.", "ok" if grown < NOTEWORTHY else "watch"
    tank = words.number(packing.pool_tank_l, 3)
    said += f": about {words.number(line.litres, 3)} L for a tank of {tank} L."
    if line.overflows:
        return f"{said} The tank is too small for it.", "act"
    return said, "watch" if line.litres > TIGHT * packing.pool_tank_l or grown >= NOTEWORTHY else "ok"
