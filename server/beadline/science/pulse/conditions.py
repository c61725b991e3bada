"""Reasons to doubt the way a pulse test was run: sample volume and flow."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from beadline.science.estimates import Doubt
from beadline.science.pulse.plates import Bed
from beadline.science.pulse.settings import Settings

UNSTEADY_FLOW = 0.05


def of(
    bed: Bed, injection_volume_m3: float, flow_m3_s: ArrayLike | None, settings: Settings
) -> tuple[Doubt, ...]:
    """Doubt the way the test was run: sample volume and flow."""
    doubts: list[Doubt] = []
    share = injection_volume_m3 / bed.bed_volume_m3
    low, high = settings.injection_share_cv
    if share > high:
        said = (
            f"The sample was {share:.1%} of the column volume; about 1 % is usual (common practice). "
            "It widens the peak, the more so the smaller the beads."
        )
        doubts.append(Doubt("large_injection", said))
    elif 0 < share < low:
        said = f"The sample was only {share:.2%} of the column volume; about 1 % is usual (common practice)."
        doubts.append(Doubt("small_injection", said))
    if flow_m3_s is not None:
        doubts += _of_flow(bed, np.atleast_1d(np.asarray(flow_m3_s, dtype=np.float64)), settings)
    return tuple(doubts)


def _of_flow(bed: Bed, flow_m3_s: NDArray[np.float64], settings: Settings) -> list[Doubt]:
    known = flow_m3_s[np.isfinite(flow_m3_s)]
    running = known[known > 0.02 * np.max(known, initial=0.0)]
    if not running.size:
        return [
            Doubt("flow_unknown", "The recorded flow is zero throughout, so the velocity can't be checked.")
        ]
    doubts = []
    middle = float(np.median(running))
    velocity = middle / (bed.bed_volume_m3 / bed.bed_height_m)
    low, high = settings.velocity_range_m_s
    if not low <= velocity <= high:
        said = (
            f"The velocity was {velocity * 3.6e5:.0f} cm/h; {low * 3.6e5:.0f} to {high * 3.6e5:.0f} cm/h is "
            "usual for a pulse test (common practice). Compare only tests at the same velocity."
        )
        doubts.append(Doubt("flow_out_of_range", said))
    spread = (np.quantile(running, 0.975) - np.quantile(running, 0.025)) / middle
    if spread > UNSTEADY_FLOW or running.size < 0.98 * known.size:
        doubts.append(
            Doubt("flow_not_constant", f"The flow varied by {spread:.0%} or stopped during the test.")
        )
    return doubts
