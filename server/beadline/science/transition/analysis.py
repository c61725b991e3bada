"""One transition read from beginning to end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy

from beadline.science.estimates import Doubt
from beadline.science.transition import assembly, cleaning, judging, running, settling, spikes, window
from beadline.science.transition.outline import outline
from beadline.science.transition.result import Array, TransitionResult
from beadline.science.transition.settings import Settings

DEFAULTS = Settings()


def analyse(
    volume_m3: Array,
    signal: Array,
    *,
    bed_volume_m3: float,
    bed_height_m: float,
    settings: Settings = DEFAULTS,
    reference: Array | None = None,
    flow_m3_s: Array | None = None,
) -> TransitionResult:
    """Read one step change at the outlet of a packed bed.

    Both plateaus, with a common slope, are fitted together with a front made of a Gaussian, an
    exponential tail and, where the record needs them, a late part and an early part. What the fit
    leaves over is taken in as far as it is significant. All numbers are read from that curve.

    Parameters
    ----------
    volume_m3 : ndarray [n]
        Volume through the bed [m3]; 0 at the switch.
    signal : ndarray [n]
        Conductivity, UV or pH, in any unit.
    bed_volume_m3, bed_height_m : float
        Volume [m3] and height [m] of the packed bed; above 0.
    settings : Settings
        Choices; stored with the result.
    reference : ndarray, optional
        Fractions on the same grid, for `difference_from_reference`.
    flow_m3_s : ndarray [n], optional
        Flow at each volume [m3/s]; NaN where it is not known. A front that passed at several velocities
        is doubted, since plate height depends on velocity.

    Returns
    -------
    TransitionResult
        Strange data give `usable=False` and doubts, never an exception.

    Raises
    ------
    ValueError
        If the arrays don't match, or bed volume or height isn't a positive number.

    Notes
    -----
    Uncertainties hold for noise, sampling and the choice of front; they don't hold for a wrong bed
    volume or flow meter. Moments include the tail that the fit expects beyond the record; how much
    of the variance that is stands in the working. A signal that isn't linear in concentration
    needs a response curve in the settings.

    References
    ----------
    Levenspiel, Chemical Reaction Engineering, 3rd ed., chapter 13, for moments and plate height.

    Examples
    --------
    >>> import numpy as np
    >>> from scipy.special import ndtr
    >>> v = np.linspace(-0.2, 2.0, 441)
    >>> result = analyse(v * 1e-3, 2 + 10 * ndtr((v - 0.9) / 0.03), bed_volume_m3=1e-3, bed_height_m=0.2)
    >>> round(result.estimates["hetp_moments"].value * 1e6)  # 0.2 m * (0.03 / 0.9)**2
    222
    """
    bed = assembly.Bed(bed_volume_m3, bed_height_m)
    volume, values = _checked(volume_m3, signal)
    reference = _checked_reference(reference, settings)
    with np.errstate(all="ignore"):
        found = _read(volume / bed_volume_m3, values, bed, settings, reference)
    if flow_m3_s is None:
        return found
    volume, flow = _checked(volume_m3, flow_m3_s)
    return running.with_doubts(found, (volume - settings.hold_up_m3) / bed_volume_m3, flow)


def _read(
    volume_cv: Array, values: Array, bed: assembly.Bed, settings: Settings, reference: Array | None
) -> TransitionResult:
    record = cleaning.in_order(volume_cv, values, window_cv=settings.window_cv)
    record = spikes.despiked(cleaning.thinned(record))
    record = _answered(record, hold_up_cv=settings.hold_up_m3 / bed.volume_m3, settings=settings)
    doubts = judging.of_record(record)
    if record.volume_cv.size < judging.LEAST_POINTS:
        return assembly.refused(record, None, [*doubts, judging.too_few(record)], settings)
    record, seen, cut = window.one_step(record, outline(record), direction=settings.direction)
    doubts += judging.of_outline(record, seen, settings, cut=cut)
    if any(d.code in ("not_a_step", "step_too_small") for d in doubts):
        return assembly.refused(record, seen, doubts, settings)
    try:
        settled = settling.settled(record, seen)
        return assembly.result(record, seen, settled, doubts, bed=bed, settings=settings, reference=reference)
    except (np.linalg.LinAlgError, ArithmeticError, settling.NotFitted):
        runaway = Doubt("not_fitted", "No front between two plateaus fits the record; look at the trace.")
        return assembly.refused(record, seen, [*doubts, runaway], settings)


def _checked(volume_m3: Array, signal: Array) -> tuple[Array, Array]:
    volume, values = np.asarray(volume_m3, dtype=float), np.asarray(signal, dtype=float)
    if volume.ndim != 1 or volume.shape != values.shape:
        raise ValueError(
            f"volume and signal must be rows of one length, got {volume.shape} and {values.shape}"
        )
    return volume, values


def _checked_reference(reference: Array | None, settings: Settings) -> Array | None:
    if reference is None:
        return None
    curve = np.asarray(reference, dtype=float)
    if curve.shape != (settings.grid_points,) or not np.all(np.isfinite(curve)):
        raise ValueError(
            f"reference must hold {settings.grid_points} finite fractions, got shape {curve.shape}"
        )
    return curve


def _answered(record: cleaning.Record, *, hold_up_cv: float, settings: Settings) -> cleaning.Record:
    """Take the hold-up off the volume and turn a non-linear signal into concentration."""
    record = replace(record, volume_cv=record.volume_cv - hold_up_cv)
    if not settings.response_signal:
        return record
    x, y = np.array(settings.response_signal), np.array(settings.response_concentration)
    curve = scipy.interpolate.PchipInterpolator(x, y)
    within = np.clip(record.signal, x[0], x[-1])
    beyond = (record.signal - within) * np.where(record.signal > within, curve(x[-1], 1), curve(x[0], 1))
    return replace(record, signal=curve(within) + beyond)
