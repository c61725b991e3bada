"""A settled front turned into a result: numbers, curve, doubts, working."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy

from beadline.science import metrics, peaks
from beadline.science.estimates import Doubt, Estimate
from beadline.science.transition import cleaning, front_doubts, judging, readings, withholding, workings
from beadline.science.transition import curve as curves
from beadline.science.transition.outline import Outline
from beadline.science.transition.readings import Read
from beadline.science.transition.result import Array, TransitionResult
from beadline.science.transition.settings import Settings
from beadline.science.transition.settling import NotFitted, Settled

METHOD = "fitted_front_with_remainder"
VERSION = "4"
_ROUNDING = 1e-5  # noise below this fraction of the step is rounding


@dataclass(frozen=True, slots=True)
class Bed:
    """Volume [m3] and height [m] of the packed bed; above 0."""

    volume_m3: float
    height_m: float

    def __post_init__(self) -> None:
        """Refuse a bed that can't be."""
        for name in ("volume_m3", "height_m"):
            value = getattr(self, name)
            if not (np.isfinite(value) and value > 0):
                raise ValueError(f"bed_{name} must be above 0, got {value}")


def result(
    record: cleaning.Record,
    seen: Outline,
    settled: Settled,
    doubts: list[Doubt],
    *,
    bed: Bed,
    settings: Settings,
    reference: Array | None,
) -> TransitionResult:
    """Read every number from a settled front and judge it.

    Raises
    ------
    NotFitted
        If the settled curve isn't a front.
    """
    posterior, volume = settled.posterior, record.volume_cv
    grid = curves.fine_grid(posterior.front, float(volume[0]), float(volume[-1]))
    curve = curves.curve_on(posterior, grid)
    height, _ = curves.step_height(posterior)
    moments = curves.moments_of(posterior)
    peak = readings.peak(curve, level=settings.asymmetry_level)
    found = _numbers(moments, curve, peak, bed=bed, settings=settings)
    if not height > 0 or "mean_cv" not in found or found["variance_cv2"].value <= 0:
        raise NotFitted
    stored = curves.curve_on(posterior, np.linspace(0.0, settings.grid_end_cv, settings.grid_points))
    if reference is not None:
        found["difference_from_reference"] = readings.difference(stored, reference)
    numbers = {name: read.estimate for name, read in found.items()}
    numbers |= _levels(settled, seen, settings)
    shown = workings.of(record, seen, settled, curve, peak, moments)
    doubts = doubts + _front_doubts(record, settled, curve, numbers, shown, settings)
    return _finished(record, seen, numbers, doubts, stored, shown, settings, compared=reference is not None)


def _numbers(
    moments: curves.Moments, curve: curves.Curve, peak: readings.Peak, *, bed: Bed, settings: Settings
) -> dict[str, Read]:
    found = readings.shape_of(moments, system_variance_cv2=settings.system_variance_m6 / bed.volume_m3**2)
    if found["variance_cv2"].value > 0 and found["mean_cv"].value > 0:
        found["hetp_moments"] = readings.plate_height(
            found["mean_cv"], found["variance_cv2"], bed_height_m=bed.height_m
        )
    if width := readings.width_plate_height(curve, settings.width_levels, bed_height_m=bed.height_m):
        found["hetp_width"] = width
    for name, level in (("v05", 0.05), ("v10", 0.1), ("v50", 0.5), ("v90", 0.9), ("v95", 0.95)):
        if volume := readings.crossing(curve, level):
            found[f"{name}_cv"] = volume
    if "v10_cv" in found and "v90_cv" in found:
        found["width_10_90_cv"] = found["v90_cv"].minus(found["v10_cv"])
    found["steepest_slope_per_cv"] = peak.height
    if peak.front and peak.back and peak.apex.value > peak.front.value:
        found["asymmetry"] = peak.back.minus(peak.apex).over(peak.apex.minus(peak.front))
    return found | readings.ends(curve)


def _levels(settled: Settled, seen: Outline, settings: Settings) -> dict[str, Estimate]:
    """Plateaus at the middle of the front, height of the step [signal], noise [of the step]."""
    posterior = settled.posterior
    height, height_spread = curves.step_height(posterior)
    level = Read(posterior.front.level + float(posterior.shift[0]), posterior.spread[0])
    before = Read(seen.before + seen.step * level.value, seen.step * level.spread)
    after = Read(before.value + seen.step * height, before.spread + seen.step * height_spread)
    before, after = _in_signal(before, settings), _in_signal(after, settings)
    sign = 1.0 if after.value >= before.value else -1.0
    noise = settled.noise / height
    freedom = max(posterior.left.size - posterior.shift.size, 2)
    return {
        "plateau_before": before.estimate,
        "plateau_after": after.estimate,
        "step_height": after.minus(before).times(sign).estimate,
        "noise": Estimate(noise, noise / float(np.sqrt(2 * freedom))),
    }


def _in_signal(level: Read, settings: Settings) -> Read:
    """Back from concentration to the signal that the detector showed."""
    if not settings.response_signal:
        return level
    curve = scipy.interpolate.PchipInterpolator(settings.response_concentration, settings.response_signal)
    ends = settings.response_concentration[0], settings.response_concentration[-1]
    within = float(np.clip(level.value, *ends))
    slope = float(curve(within, 1))
    return Read(float(curve(within)) + slope * (level.value - within), slope * level.spread)


def _front_doubts(
    record: cleaning.Record,
    settled: Settled,
    curve: curves.Curve,
    numbers: dict[str, Estimate],
    shown: dict[str, float | list[float]],
    settings: Settings,
) -> list[Doubt]:
    front, height = settled.posterior.front, curves.step_height(settled.posterior)[0]
    edges = [numbers[k].value if k in numbers else np.nan for k in ("v10_cv", "v90_cv")]
    uneven = settled.effective_noise / settled.noise if numbers["noise"].value > _ROUNDING else 1.0
    slope = (front.slope_per_cv + float(settled.posterior.shift[1])) / height
    beyond = shown["variance_beyond_record"]
    return [
        *front_doubts.of_reach(float(curve.fraction[0]), float(curve.fraction[-1]), settings=settings),
        *front_doubts.of_sampling(record, *edges),
        *front_doubts.of_quiet(
            noise=numbers["noise"].value, uneven=uneven, slope_per_cv=slope, settings=settings
        ),
        *front_doubts.of_place(numbers, settings=settings),
        *front_doubts.of_shape(modes=modes_of(curve), beyond=beyond if isinstance(beyond, float) else 0.0),
    ]


def modes_of(curve: curves.Curve) -> int:
    """Peaks of the derivative that stand out from their own uncertainty and 3 % of the highest."""
    found = peaks.maxima(curve.density, prominence=0.03 * float(np.max(curve.density)))
    spread = [curve.density_spread(k, k + 1) for k in found.places.tolist()]
    return sum(
        bool(high > 4 * np.linalg.norm(of)) for high, of in zip(found.prominences, spread, strict=True)
    )


def _finished(
    record: cleaning.Record,
    seen: Outline,
    numbers: dict[str, Estimate],
    doubts: list[Doubt],
    stored: curves.Curve,
    shown: dict[str, float | list[float]],
    settings: Settings,
    *,
    compared: bool,
) -> TransitionResult:
    withheld = withholding.reasons({d.code for d in doubts}, numbers, compared=compared)
    kept = {k: v for k, v in numbers.items() if k not in withheld}
    return TransitionResult(
        METHOD,
        VERSION,
        settings,
        not judging.UNUSABLE & {d.code for d in doubts},
        kept,
        withheld,
        tuple(doubts),
        _window(record),
        _direction(seen),
        stored.volume_cv,
        stored.fraction,
        stored.density,
        shown,
    )


def refused(
    record: cleaning.Record, seen: Outline | None, doubts: list[Doubt], settings: Settings
) -> TransitionResult:
    """A result without numbers: the reason stands in its doubts, its curve is 0 throughout."""
    grid = np.linspace(0.0, settings.grid_end_cv, settings.grid_points)
    why = doubts[-1].sentence
    return TransitionResult(
        METHOD,
        VERSION,
        settings,
        False,
        {},
        {m.name: why for m in metrics.TRANSITION},
        tuple(doubts),
        _window(record),
        _direction(seen),
        grid,
        np.zeros_like(grid),
        np.zeros_like(grid),
        {"points": float(record.volume_cv.size)},
    )


def _window(record: cleaning.Record) -> tuple[float, float]:
    if record.volume_cv.size == 0:
        return (0.0, 0.0)
    return (float(record.volume_cv[0]), float(record.volume_cv[-1]))


def _direction(seen: Outline | None) -> Literal["up", "down"]:
    return "down" if seen is not None and seen.step < 0 else "up"
