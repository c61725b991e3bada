"""When a series has changed: every beginning of a step and of a ramp weighed against the others."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from beadline.science.drift import changes
from beadline.science.drift.changes import Kind

Floats = NDArray[np.float64]
CAP_SD = 3.5


@dataclass(frozen=True)
class Onset:
    """Where a series seems to have changed: usable cycles counted from 0, and how much in its own spread."""

    first: int
    low: int
    high: int
    kind: Kind
    size: float


def without_odd_values(y: Floats) -> Floats:
    """Put the median of five neighbours in the place of single odd values.

    Examples
    --------
    >>> bool(without_odd_values(np.array([0.1, 0.0, 0.2, 9.0, 0.1, 0.2, 0.0]))[3] < 1.0)
    True
    """
    if len(y) < 5:
        return y
    padded = np.pad(y, 2, mode="reflect")
    local = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    spread = 1.3 * 1.4826 * float(np.median(np.abs(y - local)))
    return np.where(np.abs(y - local) > CAP_SD * spread, local, y)


def dated(y: Floats, *, phi: float, sign: float) -> Onset:
    """Likelihood of every beginning of a step and of a ramp."""
    n = len(y)
    age = n - np.arange(2, n)
    gains: dict[Kind, tuple[Floats, Floats]] = {}
    kinds: tuple[Kind, Kind] = ("step", "ramp")
    for kind in kinds:
        found = changes.regressed(np.arange(float(n)), y, phi=phi, kind=kind, lead=1.0)
        rest = max(found.whole, 0.04 * n * (1 - phi**2))
        size = found.size[2:]
        gain = np.where(size * sign > 0, size**2 * found.weight[2:] / rest, 0.0)
        gains[kind] = (
            -0.5 * (n - 2) * np.log1p(-np.clip(gain, 0, 0.999999)),
            size * np.where(kind == "ramp", age, 1),
        )
    top = max(float(gains[kind][0].max()) for kind in kinds)
    weights = {kind: np.exp(gains[kind][0] - top) for kind in kinds}
    kind = "ramp" if weights["ramp"].sum() > 1.5 * weights["step"].sum() else "step"
    both = weights["step"] + weights["ramp"]
    spread = np.cumsum(both) / both.sum()
    best = int(weights[kind].argmax())
    low, high = int(np.searchsorted(spread, 0.1)), int(np.searchsorted(spread, 0.9))
    return Onset(2 + best, 2 + min(low, best), 2 + max(high, best), kind, float(gains[kind][1][best]))
