"""Intermediate values for the page that shows how the numbers came about."""

from __future__ import annotations

import numpy as np

from beadline.science.transition import cleaning, readings
from beadline.science.transition import curve as curves
from beadline.science.transition.outline import Outline
from beadline.science.transition.result import Array
from beadline.science.transition.settling import Settled


def of(
    record: cleaning.Record,
    seen: Outline,
    settled: Settled,
    curve: curves.Curve,
    peak: readings.Peak,
    moments: curves.Moments,
) -> dict[str, float | list[float]]:
    """Plateau lines, constructions on the derivative peak, parts of the front, moments without the fit."""
    posterior, volume = settled.posterior, record.volume_cv
    front = posterior.front
    height, _ = curves.step_height(posterior)
    level, slope = front.level + float(posterior.shift[0]), front.slope_per_cv + float(posterior.shift[1])
    baseline = level + slope * (volume - front.about_cv)
    fraction = ((record.signal - seen.before) / seen.step - baseline) / height
    shown: dict[str, float | list[float]] = {
        "points": float(volume.size),
        "line_about_cv": front.about_cv,
        "line_before": seen.before + seen.step * level,
        "line_after": seen.before + seen.step * (level + height),
        "line_slope_per_cv": seen.step * slope,
        "apex_cv": peak.apex.value,
        "apex_slope_per_cv": peak.height.value,
        "part_weights": (front.heights / front.height).tolist(),
        "core_mean_cv": front.core[0],
        "core_sd_cv": front.sd_cv,
        "core_skewness": front.core[2],
        "left_over_size": posterior.size,
        "effective_noise": settled.effective_noise / height,
        "variance_beyond_record": beyond(moments, curve),
        "spike_cv": list(record.spike_cv),
    }
    if front.late:
        shown["late_tau_cv"] = float(np.exp(front.late[0]))
    if front.early:
        shown |= {"early_mean_cv": front.early[0], "early_sd_cv": float(np.exp(front.early[1]))}
    for name, at in (("front_a_cv", peak.front), ("back_b_cv", peak.back)):
        if at is not None:
            shown[name] = at.value
    return shown | _without_fit(volume, fraction)


def beyond(moments: curves.Moments, curve: curves.Curve) -> float:
    """Share of the variance that the fitted tail adds beyond the end of the record."""
    mean, variance = moments.raw[1], moments.raw[2] - moments.raw[1] ** 2
    v = curve.volume_cv - moments.about_cv
    last = v[-1] - mean
    inside = last**2 * curve.fraction[-1] - 2 * float(np.trapezoid((v - mean) * curve.fraction, v))
    return float(np.clip(1 - inside / variance, 0.0, 1.0)) if variance > 0 else 0.0


def _without_fit(volume: Array, fraction: Array) -> dict[str, float | list[float]]:
    """Mean and variance of the cleaned points by the integral form and by midpoint sums.

    Both take the ends of the record for 0 and 1; they stand beside the result for comparison.
    """
    middle, rise = 0.5 * (volume[1:] + volume[:-1]), np.diff(fraction)
    total = float(np.sum(rise)) or 1.0
    by_sums = float(middle @ rise) / total
    end = float(volume[-1])
    mean = end - float(np.trapezoid(fraction, volume))
    return {
        "integral_mean_cv": mean,
        "integral_variance_cv2": (end - mean) ** 2
        - 2 * float(np.trapezoid((volume - mean) * fraction, volume)),
        "derivative_mean_cv": by_sums,
        "derivative_variance_cv2": float((middle - by_sums) ** 2 @ rise) / total,
    }
