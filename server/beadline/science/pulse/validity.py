"""Reasons to doubt a pulse test: its record, and what it says about the bed."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from beadline.science import peaks
from beadline.science.estimates import Doubt, Estimate
from beadline.science.pulse import baseline as baselines
from beadline.science.pulse.plates import Bed
from beadline.science.pulse.reading import PeakReading
from beadline.science.pulse.record import Record
from beadline.science.pulse.result import SystemBroadening
from beadline.science.pulse.settings import Settings

REMAINDER = 0.05
MODE_HEIGHT = 0.03
RETENTION_CV = (0.45, 1.02)
THEORETICAL_FLOOR = 2.0
INJECTION_SHARE, SYSTEM_SHARE = 0.10, 0.5

MOMENTS = {"area", "mean", "variance", "third"}
SHAPE = {
    f"{name}_{side}"
    for name in ("half", "tenth", "asymmetry", "tailing", "foot")
    for side in ("front", "back")
}


def saturation(record: Record, read: PeakReading) -> Doubt | None:
    """Tell a clipped top from a broad one.

    The flat stretch that rounding alone leaves on a smooth apex is 2 sqrt(2 r/curvature) wide for a
    resolution r; a longer one was cut by the detector.
    """
    volume, signal = record.volume_m3, -record.signal if read.inverted else record.signal
    top = int(np.argmax(signal))
    step = baselines.resolution(signal)
    ends = np.flatnonzero(np.abs(signal - signal[top]) > 0.5 * step)
    first = int(np.max(ends[ends < top], initial=-1)) + 1
    last = int(np.min(ends[ends > top], initial=signal.size)) - 1
    half = [read.crossings[k].volume_m3 for k in ("half_front", "half_back") if k in read.crossings]
    width = half[1] - half[0] if len(half) == 2 else float(volume[-1] - volume[0])
    rounding = width / 2.355 * 2 * np.sqrt(2 * step / max(read.apex.signal, step))
    if last - first + 1 < 3 or volume[last] - volume[first] <= 1.5 * rounding:
        return None
    said = (
        f"{last - first + 1} samples at the top share one value: the detector was saturated. "
        "Inject less tracer or a weaker one; the true height can't be recovered."
    )
    return Doubt("saturated", said)


def unreadable(read: PeakReading) -> set[str]:
    """Names of readings that must not be used, because the record doesn't support them."""
    hidden: set[str] = set()
    for name in ("half", "tenth", "asymmetry", "tailing"):
        if any(_crosses_again(read, f"{name}_{side}", back=side == "back") for side in ("front", "back")):
            hidden |= {f"{name}_front", f"{name}_back"}
    if _modes(read) > 1:
        hidden |= SHAPE
    if not read.fitted:
        hidden |= {"mu", "sigma", "tau"}
    if not all(read.baseline.sides):
        hidden |= MOMENTS
    return hidden


def _crosses_again(read: PeakReading, name: str, *, back: bool) -> bool:
    """Whether the trace rises clearly above a level again, outside its first crossing."""
    point = read.crossings.get(name)
    if point is None:
        return False
    beyond = read.volume_m3 > point.volume_m3 if back else read.volume_m3 < point.volume_m3
    clear = max(MODE_HEIGHT * read.apex.signal, 5 * read.noise_sd)
    return bool(np.any(read.smooth[beyond] > point.signal + clear))


def of_peak(read: PeakReading, bed: Bed, settings: Settings) -> tuple[Doubt, ...]:
    """Doubt the record of the peak."""
    return (
        *_of_ends(read, settings),
        *_of_sampling(read, settings),
        *_of_form(read),
        *_of_retention(read, bed),
    )


def _of_ends(read: PeakReading, settings: Settings) -> list[Doubt]:
    doubts = []
    front, back = read.baseline.sides
    if not front:
        said = "There is no quiet signal before the peak; the baseline was taken from after it alone."
        doubts.append(Doubt("truncated_front", said))
    if not back:
        said = (
            "The record ends before the tail has come down. Record on until the signal is flat: "
            "moments are withheld, and the baseline was taken from before the peak alone."
        )
        doubts.append(Doubt("truncated_tail", said))
    elif not read.baseline.finished:
        said = "The record ends while a trace of the tail is left; moments lean on the fitted tail."
        doubts.append(Doubt("tail_not_finished", said))
    low, high = read.moments.window_m3
    under = np.interp([low, high], read.volume_m3, read.baseline.values)
    drift = float(np.ptp(under)) / read.apex.signal
    if drift > settings.baseline_drift:
        said = f"The baseline moves by {drift:.1%} of the peak height under the peak."
        doubts.append(Doubt("baseline_drift", said))
    remainder = abs(read.moments.remainder["variance"] / read.moments.values["variance"])
    if back and front and remainder > REMAINDER:
        said = (
            f"{remainder:.0%} of the variance lies in a tail below the noise and comes from the fitted peak."
        )
        doubts.append(Doubt("tail_in_noise", said))
    return doubts


def _of_sampling(read: PeakReading, settings: Settings) -> list[Doubt]:
    doubts = []
    count = int(np.count_nonzero(read.signal > 0.5 * read.apex.signal))
    if count < settings.least_points:
        said = f"Only {count} samples lie above half height; log faster (at least {settings.least_points})."
        doubts.append(Doubt("few_points", said))
    low, high = read.moments.window_m3
    inside = (read.volume_m3 >= low) & (read.volume_m3 <= high)
    steps = np.diff(read.volume_m3[inside])
    if steps.size and count >= settings.least_points and steps.max() > 8 * np.median(steps):
        said = "Samples are missing within the peak; the trace was bridged with a straight line there."
        doubts.append(Doubt("gap_in_peak", said))
    if read.noise_sd > 1.5 * read.baseline.noise_sd and read.noise_sd > 0.002 * read.apex.signal:
        said = "The signal scatters more on the peak than on the baseline; uncertainties carry it."
        doubts.append(Doubt("disturbed_peak", said))
    return doubts


def _of_form(read: PeakReading) -> list[Doubt]:
    modes = _modes(read)
    if modes > 1:
        said = (
            f"The record shows {modes} peaks. Two paths through the bed (crack, channel, blocked "
            "distributor), air, or a double injection; plates from widths mean nothing here."
        )
        return [Doubt("multiple_peaks", said)]
    if not read.fitted or read.moments.hidden:
        said = (
            f"One tailing peak misses the record by {read.misfit:.1%} of its height: a shoulder, an early "
            "foot, or a second tail. Look for two paths through the bed; moments are rough."
        )
        return [Doubt("shape_not_fitted", said)]
    return []


def _modes(read: PeakReading) -> int:
    """Number of separate maxima that stand out by more than noise can."""
    clear = max(MODE_HEIGHT * read.apex.signal, 5 * read.noise_sd)
    found = peaks.maxima(read.smooth, prominence=clear)
    return int(np.count_nonzero(read.smooth[found.places] >= clear))


def _of_retention(read: PeakReading, bed: Bed) -> list[Doubt]:
    place = read.apex.volume_m3 / bed.bed_volume_m3
    low, high = RETENTION_CV
    if place > high:
        said = (
            f"The tracer leaves at {place:.2f} CV, later than the bed's liquid. It is held back, or dead "
            "volume, volume origin, flow or bed height are wrong."
        )
        return [Doubt("retention_late", said)]
    if place < low:
        said = (
            f"The tracer leaves at {place:.2f} CV. It is kept out of the beads (too large, or too little "
            "salt), or the volume counts from a late start, or the bed is by-passed."
        )
        return [Doubt("retention_early", said)]
    return []


def of_values(
    read: PeakReading,
    found: Mapping[str, Estimate],
    injection_volume_m3: float,
    system: SystemBroadening | None,
) -> tuple[Doubt, ...]:
    """Doubt what the numbers say together."""
    doubts: list[Doubt] = []
    measured = read.measured.values["variance"]
    share = injection_volume_m3**2 / 12 / measured if measured > 0 else 0.0
    if share > INJECTION_SHARE:
        said = f"The injection alone makes {share:.0%} of the variance; inject less."
        doubts.append(Doubt("injection_dominates", said))
    if system and measured > 0 and system.variance_m6.value / measured > SYSTEM_SHARE:
        said = (
            f"Tubing and detector make {system.variance_m6.value / measured:.0%} of the variance; "
            "what is left for the bed is uncertain."
        )
        doubts.append(Doubt("system_dominates", said))
    h = found.get("reduced_plate_height")
    if h and h.value + 2 * h.u < THEORETICAL_FLOOR:
        said = (
            f"h = {h.value:.2f} is below the theoretical floor of 2 to 3 bead diameters: the tracer "
            "interacts with the resin, or bead diameter, bed height or volume are wrong. The test isn't "
            "valid."
        )
        doubts.append(Doubt("below_theoretical_floor", said))
    return tuple(doubts)
