"""From a cleaned record to a settled front: noise, parts, correction."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import scipy

from beadline.science.transition import cleaning, ladder
from beadline.science.transition.fitting import Points
from beadline.science.transition.outline import Outline
from beadline.science.transition.remainder import Posterior, reduced, settle, splines_for, with_rounding
from beadline.science.transition.result import Array

QUIET = 1e-7  # noise below this fraction of the step is rounding
_OUTLIER = 5.0
_CHOICE = 1.04  # the data chose the kind of front too; found by simulation


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
    held = cleaning.holding(record.signal, quantum=seen.quantum)
    even = np.ones_like(volume) if held is None else held
    fit = ladder.best_front(Points(volume, fraction, even), seen, noise=first)
    if not (fit.front.plain() and np.all(np.isfinite(fit.left))):
        raise NotFitted
    quiet = max(cleaning.point_noise(fit.left) if held is None else _spread(fit.left, even), least)
    weights = even * _trust(fit.left, max(quiet, 0.5 * first))
    splines = splines_for(
        fit.front,
        start_cv=float(volume[0]),
        end_cv=float(volume[-1]),
        spacing_cv=cleaning.median(np.diff(volume)),
    )
    boiled = reduced(volume, fit.left, fit.front, splines, weights=weights)
    posterior = settle(boiled, noise=quiet)
    noise = max(
        cleaning.point_noise(posterior.left) if held is None else _spread(posterior.left, weights), least
    )
    effective = max(noise, quiet) if held is not None else ladder.together(posterior.left, max(noise, quiet))
    used = effective if effective > 1.1 * quiet else quiet
    if used != quiet:
        posterior = settle(boiled, noise=used)
    quantum = seen.quantum / abs(seen.step)
    if quantum > 0:
        swing = float(np.sqrt(max(float(np.var(posterior.left)) - quantum**2 / 12, 0.0)))
        posterior = with_rounding(
            posterior, boiled, fit.front.curve(volume), settled_noise=used, noise=swing, quantum=quantum
        )
    if not (np.all(np.isfinite(posterior.shift)) and np.all(np.isfinite(posterior.spread))):
        raise NotFitted
    memory = 0.0 if held is not None else ladder.remembered(posterior.left)
    posterior = replace(posterior, spread=_CHOICE * max(1.0, memory / used) * posterior.spread)
    return Settled(posterior, noise, max(effective, memory))


def _spread(left: Array, weights: Array) -> float:
    return float(np.sqrt(np.sum((weights * left) ** 2) / np.sum(weights**2)))


def _trust(left: Array, noise: float) -> Array:
    """Roots of weights: points that stand out from their neighbours count less."""
    apart = np.abs(left - scipy.ndimage.median_filter(left, size=9, mode="nearest"))
    return np.minimum(1.0, _OUTLIER * noise / np.maximum(apart, 1e-300))
