"""How the pump ran while a front passed the bed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from beadline.science.estimates import Doubt
from beadline.science.transition.result import Array, TransitionResult

UNSTEADY = 0.10  # of the middle flow, between its 5 and 95 % quantiles
_STOPPED = 0.02  # of the middle flow
_LEAST_POINTS = 5


def with_doubts(result: TransitionResult, volume_cv: Array, flow_m3_s: Array) -> TransitionResult:
    """Doubt a front that passed at several velocities, or that stood still in the bed.

    Parameters
    ----------
    result : TransitionResult
        What was read; without a front there is nothing to doubt.
    volume_cv, flow_m3_s : ndarray [n]
        Volume from the switch on [CV], and the flow there [m3/s]; NaN where it is not known.

    Notes
    -----
    Looked at from the switch until 95 % of the step has left the bed: before and after, other phases
    may run at other velocities. The threshold is common practice, no source: flow meters and pump strokes
    scatter by some per cent, and a plate height grows at most in proportion to the velocity (van Deemter).
    """
    end = result.estimates.get("v95_cv")
    if end is None:
        return result
    inside = (volume_cv >= 0) & (volume_cv <= end.value)
    flow = flow_m3_s[inside & np.isfinite(flow_m3_s)]
    middle = float(np.median(flow)) if flow.size >= _LEAST_POINTS else 0.0
    if middle <= 0:
        return result
    low, high = np.quantile(flow, (0.05, 0.95))
    stood = bool(np.any(flow < _STOPPED * middle))
    if (high - low) <= UNSTEADY * middle and not stood:
        return result
    how = "stopped" if stood else f"varied by {(high - low) / middle:.0%}"
    said = f"The flow {how} while the front passed; plate heights compare only at one velocity."
    return replace(result, doubts=(*result.doubts, Doubt("flow_not_constant", said)))
