"""What a settled front says about itself, in named doubts."""

from __future__ import annotations

import numpy as np

from beadline.science.estimates import Doubt, Estimate
from beadline.science.transition import cleaning
from beadline.science.transition.settings import Settings

_LEAST_IN_FRONT = 3
_FEW_IN_FRONT = 6
_UNEVEN = 4.0  # noise as averages see it over noise of a point
_STEEP_PLATEAU = 0.02  # of the step a CV
_BEYOND = 0.01  # of the variance


def of_reach(start: float, end: float, *, settings: Settings) -> list[Doubt]:
    """Whether the record holds both plateaus: fractions of the step at its two ends."""
    found = []
    if end < settings.plateau_reached:
        reached = f"The record ends at {100 * max(end, 0):.0f} % of the step; "
        missing = "widths and moments of what is missing can't be known. Let it run longer."
        found.append(Doubt("plateau_not_reached", reached + missing))
    if start > 1 - settings.plateau_reached:
        late = "The record begins when the front is already under way; start the window earlier."
        found.append(Doubt("plateau_before_missing", late))
    return found


def of_sampling(record: cleaning.Record, from_cv: float, to_cv: float) -> list[Doubt]:
    """Whether enough points lie between 10 and 90 % of the step."""
    inside = int(np.count_nonzero((record.volume_cv > from_cv) & (record.volume_cv < to_cv)))
    if inside >= _FEW_IN_FRONT:
        return []
    code = "too_few_points" if inside < _LEAST_IN_FRONT else "few_points"
    counted = "1 point lies" if inside == 1 else f"{inside} points lie"
    return [Doubt(code, f"Only {counted} between 10 and 90 % of the step; log more often.")]


def of_quiet(*, noise: float, uneven: float, slope_per_cv: float, settings: Settings) -> list[Doubt]:
    """Whether signal and plateaus are quiet: fractions of the step, and a ratio."""
    found = []
    if noise > settings.noise_high:
        said = f"Noise is {100 * noise:.1f} % of the step; all numbers are less certain."
        found.append(Doubt("noise_high", said))
    if uneven > _UNEVEN:
        wander = f"Beside the front the signal wanders {100 * noise * uneven:.1f} % of the step, beyond "
        found.append(
            Doubt("uneven_plateaus", wander + f"its noise of {100 * noise:.1f} %; look for a disturbance.")
        )
    if abs(slope_per_cv) > _STEEP_PLATEAU:
        drift = f"The plateaus drift by {100 * slope_per_cv:+.1f} % of the step a CV; "
        found.append(Doubt("plateaus_slope", drift + "tail and drift are hard to tell apart."))
    return found


def of_place(estimates: dict[str, Estimate], *, settings: Settings) -> list[Doubt]:
    """Whether mean and width can be those of a liquid that only passes the bed."""
    found, mean = [], estimates["mean_cv"].value
    if mean > settings.retained_above_cv:
        late = f"The front comes at {mean:.2f} CV, later than the bed's liquid: the step is retained, "
        found.append(Doubt("retained", late + "or the volume isn't right. It says little about packing."))
    if mean < settings.early_below_cv:
        soon = f"The front comes at {mean:.2f} CV, earlier than the liquid between beads; "
        found.append(Doubt("early_mean", soon + "check the start mark and the bed volume."))
    narrow = estimates.get("hetp_width")
    if mean > 0 and narrow and narrow.value < settings.least_hetp_m:
        sharp = "The front is sharper than hydrodynamics allow: it sharpens itself by binding or exchange "
        found.append(Doubt("self_sharpening", sharp + "and says little about packing."))
    return found


def of_shape(*, modes: int, beyond: float) -> list[Doubt]:
    """Whether the front is one, and within the record: peaks of the derivative, share of variance."""
    found = []
    if modes > 1:
        paths = f"The derivative has {modes} peaks: liquid takes more than one path, "
        found.append(Doubt("several_modes", paths + "or the inlet wasn't one clean step."))
    if beyond > _BEYOND:
        tail = f"{100 * beyond:.0f} % of the variance lies beyond the record and comes from the fitted tail."
        found.append(Doubt("tail_extrapolated", tail))
    return found
