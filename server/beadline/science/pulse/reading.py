"""One peak read from one record: the order in which the steps are taken."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from beadline.science.estimates import Doubt
from beadline.science.pulse import baseline as baselines
from beadline.science.pulse import emg, extent, moments, shape
from beadline.science.pulse.measured import Measured
from beadline.science.pulse.record import LEAST_SAMPLES, Record
from beadline.science.pulse.settings import Settings

Array = NDArray[np.float64]

MISFIT = 0.008  # of the height: more than this, and one tailing peak isn't what the record shows
OWN_ERROR = 2e-4  # of a half width: what the local fits are off on noise-free Gaussian and tailing peaks
DISTURBED = 1.3  # scatter on the peak over noise of the baseline that is taken as real


@dataclass(frozen=True, slots=True, eq=False)
class PeakReading:
    """Everything that was read from one peak.

    Attributes
    ----------
    volume_m3, signal, smooth : ndarray
        The record without baseline, upright, and a lightly smoothed copy.
    baseline : Baseline
        What was taken off.
    noise_sd : float
        Noise of one sample on the peak [signal].
    fit : Fit
        Exponentially modified Gaussian through the peak.
    misfit : float
        Root mean square of what the fit leaves on the peak, as a share of its height.
    fitted : bool
        Whether that is small enough to say that one tailing peak describes the record.
    moments : Moments
        Integrals.
    apex : Point
        The top.
    crossings : mapping of str to Point
        By name, for instance ``half_front``; only those that the record shows.
    tangents : mapping of str to Tangent
        ``front`` and ``back``, where found.
    measured : Measured
        All quantities with their covariance.
    inverted : bool
        Whether a dip was turned upright.
    """

    volume_m3: Array
    signal: Array
    smooth: Array
    baseline: baselines.Baseline
    noise_sd: float
    fit: emg.Fit
    misfit: float
    fitted: bool
    moments: moments.Moments
    apex: shape.Point
    crossings: Mapping[str, shape.Point]
    tangents: Mapping[str, shape.Tangent]
    measured: Measured
    inverted: bool


def read(record: Record, settings: Settings) -> PeakReading | Doubt:
    """Read the largest peak of a cleaned record, or say why there is none to read."""
    volume, raw = record.volume_m3, record.signal
    if volume.size < LEAST_SAMPLES:
        said = f"The record has {volume.size} usable samples; a peak needs {LEAST_SAMPLES} at least."
        return Doubt("too_few_samples", said)
    upright, rough = _outline(volume, raw, settings)
    if rough is None:
        return Doubt("no_peak", "No peak stands out of the record. Check the signal and the volume range.")
    first = emg.fit(volume, upright, **_guess(rough), with_baseline=True)
    base = _baseline(volume, upright, first, settings) if first.area > 0 else None
    if base is None:
        said = (
            "The record has no quiet part before or after the peak, so there is no baseline to measure from."
        )
        return Doubt("no_baseline", said)
    signal = upright - base.values
    smooth = _smooth(volume, signal, rough)
    rough = _half_widths(volume, smooth)
    if rough is None or rough.height < settings.least_signal_to_noise * base.noise_sd:
        said = (
            f"The peak is lower than {settings.least_signal_to_noise:g} noise standard deviations. "
            "Inject more tracer or look at the detector."
        )
        return Doubt("low_signal_to_noise", said)
    fit = emg.fit(volume, signal, **_guess(rough), with_baseline=False)
    if fit.area <= 0:
        return Doubt("no_peak", "No peak stands out of the record. Check the signal and the volume range.")
    top = shape.apex(volume, signal, rough)
    off = abs(top.volume_m3 - rough.apex_m3) / (rough.front_m3 + rough.back_m3)
    if off > 1 or not 0.5 < top.signal / rough.height < 2:
        said = "The top of the peak can't be placed: too few or too disturbed samples around it."
        return Doubt("apex_unclear", said)
    turned = upright[0] != raw[0]
    return _collect(volume, signal, smooth, rough, top, base, fit, settings, inverted=turned)


def _baseline(volume: Array, upright: Array, first: emg.Fit, settings: Settings) -> baselines.Baseline | None:
    """Fit the baseline, then again without what stands out of the noise though the fit denies it."""
    base = baselines.fit(volume, upright, first, kind=settings.baseline)
    for _ in range(2):
        rough = _half_widths(volume, upright - base.values) if base else None
        if base is None or rough is None:
            break
        place = int(np.searchsorted(volume, rough.apex_m3))
        widths = _in_samples(volume, rough)
        stands = extent.standing(upright - base.values, apex=place, half_widths=widths, base=base)
        again = baselines.fit(volume, upright, first, kind=settings.baseline, occupied=stands)
        if again is None or again.sides != base.sides:
            break
        base = again
    return base


def _sample(volume: Array, point: shape.Point) -> int:
    return int(np.clip(np.searchsorted(volume, point.volume_m3), 0, volume.size - 1))


def _in_samples(volume: Array, rough: shape.Outline) -> tuple[int, int]:
    """Half widths in samples, one at least."""
    ends = (rough.apex_m3 - rough.front_m3, rough.apex_m3, rough.apex_m3 + rough.back_m3)
    front, middle, back = np.searchsorted(volume, ends)
    return max(int(middle - front), 1), max(int(back - middle), 1)


def _collect(
    volume: Array,
    signal: Array,
    smooth: Array,
    rough: shape.Outline,
    top: shape.Point,
    base: baselines.Baseline,
    fit: emg.Fit,
    settings: Settings,
    *,
    inverted: bool,
) -> PeakReading:
    """Take all readings and their covariance."""
    crossings = _crossings(volume, signal, smooth, top, rough, settings)
    tangents = _tangents(volume, signal, top, crossings, rough)
    scatter = float(np.sqrt(np.mean([p.scatter**2 for p in (top, *crossings.values())])))
    noise = scatter if scatter > DISTURBED * base.noise_sd else base.noise_sd
    misfit = _misfit(smooth, fit, top.signal)
    excess = np.sqrt(max(misfit**2 - (noise / top.signal) ** 2, 0.0))
    fitted = bool(excess < max(MISFIT, 0.7 * noise / top.signal))
    reach = extent.standing(
        signal, apex=_sample(volume, top), half_widths=_in_samples(volume, rough), base=base
    )
    integrals = moments.take(volume, signal, fit, noise=base.noise_sd, stands=reach, fitted=fitted)
    values, rows = _rows(top, crossings, tangents, fit, integrals)
    inside = (volume >= top.volume_m3 - 2.5 * rough.front_m3) & (
        volume <= top.volume_m3 + 2.5 * rough.back_m3
    )
    spread = baselines.Noise(np.where(inside, noise, base.noise_sd), base.correlation)
    beyond_noise = max(misfit - DISTURBED * noise / top.signal, 0.0)
    own = _own_errors(values, rough, integrals, misfit=beyond_noise)
    covariance = spread.covariance(base.through(rows)) + np.diag(own)
    return PeakReading(
        volume_m3=volume,
        signal=signal,
        smooth=smooth,
        baseline=base,
        noise_sd=noise,
        fit=fit,
        misfit=misfit,
        fitted=fitted,
        moments=integrals,
        apex=top,
        crossings=crossings,
        tangents=tangents,
        measured=Measured(values, covariance),
        inverted=inverted,
    )


def _own_errors(
    values: Mapping[str, float], rough: shape.Outline, integrals: moments.Moments, *, misfit: float
) -> Array:
    """Variance that isn't noise: of the local fits, of the tail beyond the record, of a fit that misses.

    A fit that misses by a share of the height is taken to be off by three times that share of its width,
    as it is on a Gaussian widened by a rectangular injection.
    """
    reading = OWN_ERROR * min(rough.front_m3, rough.back_m3)
    own = [reading if name.endswith(("_front", "_back")) else 0.0 for name in values]
    tail = [moments.TRUST_IN_TAIL * integrals.remainder.get(name, 0.0) for name in values]
    hidden = [integrals.hidden.get(name, 0.0) for name in values]
    missed = [3 * misfit * values["sigma"] if name in ("mu", "sigma", "tau") else 0.0 for name in values]
    return np.asarray(np.square(own) + np.square(tail) + np.square(hidden) + np.square(missed))


def _misfit(smooth: Array, fit: emg.Fit, height: float) -> float:
    """Root mean square of the residual where record or fit stand out, as a share of the height."""
    clear = np.flatnonzero(smooth > 0.05 * height)
    return float(np.sqrt(np.mean(fit.residual[clear[0] : clear[-1] + 1] ** 2))) / height


def _outline(volume: Array, raw: Array, settings: Settings) -> tuple[Array, shape.Outline | None]:
    """Turn the record upright and find its peak against a line through both ends."""
    edge = max(5, raw.size // 20)
    ends = np.array([np.median(raw[:edge]), np.median(raw[-edge:])])
    line = np.interp(volume, volume[[edge // 2, -1 - edge // 2]], ends)
    smooth = scipy.ndimage.uniform_filter1d(raw - line, max(3, raw.size // 400), mode="nearest")
    dips = settings.polarity == "down" or (settings.polarity == "either" and -smooth.min() > smooth.max())
    sign = -1.0 if dips else 1.0
    return sign * raw, _half_widths(volume, sign * smooth)


def _half_widths(volume: Array, smooth: Array) -> shape.Outline | None:
    """Apex and half widths of the highest sample's peak; None for a flat record or a peak at an end."""
    place = int(np.argmax(smooth))
    height = float(smooth[place])
    low_front = np.flatnonzero(smooth[:place] < height / 2)
    low_back = np.flatnonzero(smooth[place:] < height / 2)
    if height <= 0 or not low_front.size or not low_back.size:
        return None
    front = float(volume[place] - volume[low_front[-1]])
    back = float(volume[place + low_back[0]] - volume[place])
    return shape.Outline(float(volume[place]), height, front, back)


def _guess(rough: shape.Outline) -> dict[str, float]:
    return {"apex_m3": rough.apex_m3, "front_m3": rough.front_m3, "back_m3": rough.back_m3}


def _smooth(volume: Array, signal: Array, rough: shape.Outline) -> Array:
    """Running mean over a sixth of the shorter half width, only used to see where to look."""
    step = float(np.median(np.diff(volume)))
    width = int(min(rough.front_m3, rough.back_m3) / (6 * step)) | 1
    return np.asarray(scipy.ndimage.uniform_filter1d(signal, max(1, min(width, 201)), mode="nearest"))


def _crossings(
    volume: Array, signal: Array, smooth: Array, top: shape.Point, rough: shape.Outline, settings: Settings
) -> dict[str, shape.Point]:
    """Both sides at half height, at the two chosen levels, and at 10 % for the Foley-Dorsey formula."""
    levels = {
        "half": 0.5,
        "tenth": 0.1,
        "asymmetry": settings.asymmetry_level,
        "tailing": settings.tailing_level,
    }
    found: dict[str, shape.Point] = {}
    for name, share in levels.items():
        for back, half_width in ((False, rough.front_m3), (True, rough.back_m3)):
            point = shape.crossing(
                volume, signal, smooth, top, share=share, back=back, reach_m3=shape.REACH * half_width
            )
            if point is not None:
                found[f"{name}_{'back' if back else 'front'}"] = point
    return found


def _tangents(
    volume: Array, signal: Array, top: shape.Point, crossings: Mapping[str, shape.Point], rough: shape.Outline
) -> dict[str, shape.Tangent]:
    """The tangents of front and back, where half height was found."""
    found: dict[str, shape.Tangent] = {}
    sharper = min(rough.front_m3, rough.back_m3)
    for side, half_width in (("front", rough.front_m3), ("back", rough.back_m3)):
        half = crossings.get(f"half_{side}")
        # on the long side of a peak the inflection lies near the apex, where the sharp side sets the scale
        reach = shape.REACH * min(half_width, 1.3 * sharper)
        laid = half and shape.tangent(volume, signal, half, top, reach_m3=reach)
        if laid:
            found[side] = laid
    return found


def _rows(
    top: shape.Point,
    crossings: Mapping[str, shape.Point],
    tangents: Mapping[str, shape.Tangent],
    fit: emg.Fit,
    integrals: moments.Moments,
) -> tuple[dict[str, float], Array]:
    """All quantities, and the weight of every sample in each."""
    rows = {"apex": (top.volume_m3, top.volume_row), "height": (top.signal, top.signal_row)}
    rows |= {name: (point.volume_m3, point.volume_row) for name, point in crossings.items()}
    rows |= {f"foot_{side}": (t.foot.volume_m3, t.foot.volume_row) for side, t in tangents.items()}
    rows |= {name: (integrals.values[name], integrals.rows[name]) for name in moments.NAMES}
    names = ("mu", "sigma", "tau")
    rows |= {name: (float(fit.parameters[k]), fit.influence[k]) for k, name in enumerate(names)}
    return {name: value for name, (value, _) in rows.items()}, np.array([row for _, row in rows.values()])
