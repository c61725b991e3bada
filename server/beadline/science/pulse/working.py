"""Intermediate values of a pulse test, enough to draw every construction on the trace."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from beadline.science.estimates import Estimate
from beadline.science.pulse.plates import Bed
from beadline.science.pulse.reading import PeakReading
from beadline.science.pulse.settings import Settings

Values = dict[str, float | list[float]]


def of(read: PeakReading, bed: Bed, settings: Settings, *, delay: Estimate, extra: Estimate) -> Values:
    """Collect the working; volumes [m3], heights [signal above the baseline], lines as [V0, y0, V1, y1]."""
    return {
        **_baseline(read),
        **_apex_and_widths(read, settings),
        **_tangents(read),
        **_moments(read, bed, settings),
        **_fit(read),
        "delay_m3": delay.value,
        "extra_variance_m6": extra.value,
        "bed_volume_m3": bed.bed_volume_m3,
        "bed_height_m": bed.bed_height_m,
        "bead_diameter_m": bed.bead_diameter_m,
    }


def _baseline(read: PeakReading) -> Values:
    volume, line = read.volume_m3, read.baseline.values
    sign = -1.0 if read.inverted else 1.0
    changes = np.flatnonzero(np.diff(read.baseline.quiet.astype(int))) + 1
    ends = np.minimum(np.concatenate(([0], changes, [volume.size])), volume.size - 1)
    parts = [part for part in pairwise(ends.tolist()) if read.baseline.quiet[part[0]]]
    return {
        "inverted": float(read.inverted),
        "baseline_line": [float(volume[0]), sign * float(line[0]), float(volume[-1]), sign * float(line[-1])],
        "quiet_parts_m3": [float(volume[place]) for part in parts for place in part],
        "noise": read.baseline.noise_sd,
        "noise_on_peak": read.noise_sd,
        "noise_correlation": read.baseline.correlation,
    }


def _apex_and_widths(read: PeakReading, settings: Settings) -> Values:
    top = read.apex
    values: Values = {
        "apex_m3": top.volume_m3,
        "height": top.signal,
        "asymmetry_level": settings.asymmetry_level,
        "tailing_level": settings.tailing_level,
    }
    for name in ("half", "asymmetry", "tailing", "tenth"):
        front, back = read.crossings.get(f"{name}_front"), read.crossings.get(f"{name}_back")
        if front and back:
            line = [front.volume_m3, front.signal, back.volume_m3, back.signal]
            values[f"{name}_line"] = line
            values[f"{name}_width_m3"] = back.volume_m3 - front.volume_m3
            values[f"{name}_a_m3"] = top.volume_m3 - front.volume_m3
            values[f"{name}_b_m3"] = back.volume_m3 - top.volume_m3
    return values


def _tangents(read: PeakReading) -> Values:
    """Each tangent from its foot to the height of the apex."""
    values: Values = {}
    for side, laid in read.tangents.items():
        at_top = laid.foot.volume_m3 + read.apex.signal / laid.slope
        values[f"tangent_{side}"] = [laid.foot.volume_m3, 0.0, at_top, read.apex.signal]
        values[f"inflection_{side}"] = [laid.inflection.volume_m3, laid.inflection.signal]
    if len(read.tangents) == 2:
        feet = [read.tangents[side].foot.volume_m3 for side in ("front", "back")]
        values["tangent_width_m3"] = feet[1] - feet[0]
    return values


def _moments(read: PeakReading, bed: Bed, settings: Settings) -> Values:
    found = read.moments.values
    values: Values = {
        "integration_window_m3": list(read.moments.window_m3),
        "area": found["area"],
        "mean_m3": found["mean"],
        "variance_m6": found["variance"],
        "variance_outside_window_m6": read.moments.remainder["variance"],
    }
    if found["variance"] > 0:
        values["skewness"] = found["third"] / found["variance"] ** 1.5
    if settings.particle_porosity is not None:
        inside = settings.particle_porosity
        values["interstitial_porosity"] = (found["mean"] / bed.bed_volume_m3 - inside) / (1 - inside)
    return values


def _fit(read: PeakReading) -> Values:
    return {
        "fit_mu_m3": read.fit.mu_m3,
        "fit_sigma_m3": read.fit.sigma_m3,
        "fit_tau_m3": read.fit.tau_m3,
        "fit_area": read.fit.area,
        "fit_residual": read.misfit,
    }
