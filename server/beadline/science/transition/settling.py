"""From a cleaned record to a settled front: noise, parts, correction."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from beadline.science.transition import cleaning, ladder
from beadline.science.transition.outline import Outline
from beadline.science.transition.remainder import Posterior, settle, splines_for
from beadline.science.transition.result import Array

QUIET = 1e-7  # noise below this fraction of the step is rounding
_OUTLIER = 5.0


class NotFitted(Exception):
    """The record holds nothing that looks like a front between two plateaus."""


@dataclass(frozen=True, slots=True, eq=False)
class Settled:
    """A settled front.

    Attributes
    ----------
    posterior : Posterior
        Front, correction, spread.
    noise : float
        Standard deviation of one point, as a fraction of the outlined step.
    effective_noise : float
        The same, widened where neighbouring points err together.
    """

    posterior: Posterior
    noise: float
    effective_noise: float


def settled(record: cleaning.Record, seen: Outline) -> Settled:
    """Fit, correct, and widen the noise if what remains isn't white.

    Raises
    ------
    NotFitted
        If the fit runs away.
    """
    volume, fraction = record.volume_cv, (record.signal - seen.before) / seen.step
    least = max(QUIET, seen.quantum / np.sqrt(12.0) / abs(seen.step))
    first = max(seen.noise / abs(seen.step), least)
    even = np.ones_like(volume)
    fit = ladder.best_front(volume, fraction, seen, noise=first, weights=even)
    if not (fit.front.plain() and np.all(np.isfinite(fit.left))):
        raise NotFitted
    noise = max(cleaning.point_noise(fit.left), least)
    weights = _trust(fit.left, noise)
    splines = splines_for(
        fit.front,
        start_cv=float(volume[0]),
        end_cv=float(volume[-1]),
        spacing_cv=float(np.median(np.diff(volume))),
    )
    posterior = settle(volume, fit.left, fit.front, splines, noise=noise, weights=weights)
    effective = together(posterior.left, noise)
    if effective > 1.1 * noise:
        posterior = settle(volume, fit.left, fit.front, splines, noise=effective, weights=weights)
    if not (np.all(np.isfinite(posterior.shift)) and np.all(np.isfinite(posterior.spread))):
        raise NotFitted
    return Settled(posterior, noise, effective)


def _trust(left: Array, noise: float) -> Array:
    """Roots of weights: points that stand out from their neighbours count less."""
    apart = np.abs(left - ndimage.median_filter(left, size=9, mode="nearest"))
    return np.minimum(1.0, _OUTLIER * noise / np.maximum(apart, 1e-300))


def together(left: Array, noise: float) -> float:
    """Noise as averages of neighbours see it: larger than a point's when they err together.

    Examples
    --------
    >>> import numpy as np
    >>> noise = np.random.default_rng(3).normal(0.0, 0.01, 600)
    >>> together(noise, 0.01)
    0.01
    >>> bool(together(np.repeat(noise, 10), 0.01) > 0.025)
    True
    """
    widest = noise
    for length in (4, 8, 16):
        blocks = left.size // length
        if blocks < 8:
            break
        means = left[: blocks * length].reshape(blocks, length).mean(axis=1)
        seen = float(np.sqrt(length * np.mean(means**2)))
        by_chance = 1.0 + 1.0 / np.sqrt(blocks)
        widest = max(widest, seen if seen > by_chance * noise else 0.0)
    return widest
