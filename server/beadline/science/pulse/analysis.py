"""Read a pulse test: from the recorded tracer peak to plates, shape and doubts."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike

from beadline.science import metrics
from beadline.science.estimates import Doubt, Estimate
from beadline.science.pulse import conditions, plates, reading, validity, working
from beadline.science.pulse import record as records
from beadline.science.pulse.result import PulseResult, SystemBroadening
from beadline.science.pulse.settings import METHOD, VERSION, Settings

REASONS = {
    "plates_half_height": "the trace doesn't cross half height once on each side of the apex",
    "plates_tangent": "no tangent could be laid on both sides of the apex",
    "plates_foley_dorsey": "the trace doesn't fall below 10 % of the height once on each side",
    "asymmetry": "the trace doesn't fall below the chosen height once on each side",
    "tailing_factor": "the trace doesn't fall below the chosen height once on each side",
    "plates_moments": "the record doesn't return to the baseline on both sides",
    "plates_emg": "one tailing peak doesn't describe the record",
}
FOLLOWS = {
    "hetp_half_height": "plates_half_height",
    "plates_per_metre": "plates_half_height",
    "reduced_plate_height": "plates_half_height",
    "hetp_moments": "plates_moments",
    "porosity": "plates_moments",
}


def analyse(
    volume_m3: ArrayLike,
    signal: ArrayLike,
    *,
    bed_volume_m3: float,
    bed_height_m: float,
    bead_diameter_m: float,
    injection_volume_m3: float = 0.0,
    flow_m3_s: ArrayLike | None = None,
    system: SystemBroadening | None = None,
    settings: Settings | None = None,
) -> PulseResult:
    """Read the tracer peak of a pulse test.

    Parameters
    ----------
    volume_m3, signal : array_like
        Volume since the start of the injection [m3] and detector signal, any unit.
    bed_volume_m3, bed_height_m, bead_diameter_m : float
        The packed bed [m3, m] and the mean bead diameter [m].
    injection_volume_m3 : float
        Sample volume [m3]; 0 when unknown, then nothing is corrected for it.
    flow_m3_s : float or array_like, optional
        Flow [m3/s], one value or one a sample, to check the velocity and its steadiness.
    system : SystemBroadening, optional
        Broadening outside the bed, see `measure_system`.
    settings : Settings, optional
        Choices; the shipped defaults when left out.

    Returns
    -------
    PulseResult
        Values as measured, values of the bed alone, reasons for missing ones, doubts and working.

    Raises
    ------
    ValueError
        For arrays of wrong shape or a bed that can't be; never for strange data.

    Notes
    -----
    Standard uncertainties carry the noise of the trace (its correlation included), the baseline, coarse
    sampling and the part of the moments that lies outside the record. They don't carry errors of the
    volume axis, the bed volume or the bead diameter, except `Settings.origin_u_m3`. With 1 % noise or
    less they are first-order exact; above about 5 % they are rough.

    References
    ----------
    USP <621> and Ph. Eur. 2.2.46 for plates by half height, symmetry factor, reduced plate height.

    Examples
    --------
    >>> import numpy as np
    >>> v = np.linspace(0, 2e-3, 1001)
    >>> found = analyse(v, np.exp(-0.5 * ((v - 0.9e-3) / 30e-6) ** 2), bed_volume_m3=1e-3,
    ...                 bed_height_m=0.2, bead_diameter_m=90e-6)
    >>> round(found.estimates["plates_moments"].value, 2)
    900.0
    """
    bed = _bed(bed_volume_m3, bed_height_m, bead_diameter_m)
    _not_negative(injection_volume_m3, "injection_volume_m3")
    settings = settings or Settings()
    record = records.clean(volume_m3, signal)
    before = (*record.doubts, *conditions.of(bed, injection_volume_m3, flow_m3_s, settings))
    read = reading.read(record, settings)
    if isinstance(read, Doubt):
        return _nothing((*before, read), settings)
    clipped = validity.saturation(record, read)
    if clipped:
        return _nothing((*before, clipped), settings)
    hidden = validity.unreadable(read)
    rules = plates.formulas(bed, settings.half_height_constant)
    rules = {name: rule for name, rule in rules.items() if not hidden & set(rule.needs)}
    delay, extra = _outside_the_bed(injection_volume_m3, system, settings)
    origin = Estimate(0.0, settings.origin_u_m3)
    measured = plates.evaluate(read.measured, rules, delay=origin, extra=Estimate(0.0, 0.0))
    corrects = injection_volume_m3 > 0 or system is not None
    corrected = plates.evaluate(read.measured, rules, delay=delay, extra=extra) if corrects else {}
    doubts = validity.of_peak(read, bed, settings)
    doubts += validity.of_values(read, corrected or measured, injection_volume_m3, system)
    return PulseResult(
        METHOD, VERSION, settings, bool(measured), measured, corrected, _withheld(measured),
        (*before, *doubts), working.of(read, bed, settings, delay=delay, extra=extra),
        read.volume_m3, read.signal, read.fit.peak(read.volume_m3),
    )  # fmt: skip


def measure_system(
    volume_m3: ArrayLike,
    signal: ArrayLike,
    *,
    injection_volume_m3: float = 0.0,
    settings: Settings | None = None,
) -> SystemBroadening:
    """Read the broadening of injector, tubing and detector from a test with the bed by-passed.

    Parameters
    ----------
    volume_m3, signal : array_like
        Volume since the start of the injection [m3] and detector signal.
    injection_volume_m3 : float
        Sample volume [m3], taken off mean and variance.
    settings : Settings, optional
        Choices; the shipped defaults when left out.

    Raises
    ------
    ValueError
        If the record holds no peak to take moments of, or one narrower than its injection.

    Notes
    -----
    Means and variances of volumes in series add (Levenspiel, 3rd ed., example 13.3).

    Examples
    --------
    >>> import numpy as np
    >>> v = np.linspace(0, 200e-6, 401)
    >>> found = measure_system(v, np.exp(-0.5 * ((v - 60e-6) / 15e-6) ** 2))
    >>> round(found.mean_m3.value * 1e6, 3), round(found.variance_m6.value * 1e12, 2)
    (60.0, 225.0)
    """
    _not_negative(injection_volume_m3, "injection_volume_m3")
    read = reading.read(records.clean(volume_m3, signal), settings or Settings())
    if isinstance(read, Doubt):
        raise ValueError(f"by-pass record: {read.sentence}")
    if not all(read.baseline.sides):
        raise ValueError("by-pass record: it doesn't return to the baseline on both sides of the peak")
    mean = read.measured.derive(lambda q: q["mean"] - injection_volume_m3 / 2)
    variance = read.measured.derive(lambda q: q["variance"] - injection_volume_m3**2 / 12)
    if variance.value <= 0:
        raise ValueError(
            f"by-pass record: the peak is narrower than its injection of {injection_volume_m3} m3"
        )
    return SystemBroadening(mean, variance)


def _bed(bed_volume_m3: float, bed_height_m: float, bead_diameter_m: float) -> plates.Bed:
    for name, value in (
        ("bed_volume_m3", bed_volume_m3),
        ("bed_height_m", bed_height_m),
        ("bead_diameter_m", bead_diameter_m),
    ):
        if not (np.isfinite(value) and value > 0):
            raise ValueError(f"{name} must be above 0, got {value}")
    return plates.Bed(bed_volume_m3, bed_height_m, bead_diameter_m)


def _not_negative(value: float, name: str) -> None:
    if not (np.isfinite(value) and value >= 0):
        raise ValueError(f"{name} must not be negative, got {value}")


def _outside_the_bed(
    injection_volume_m3: float, system: SystemBroadening | None, settings: Settings
) -> tuple[Estimate, Estimate]:
    """Mean and variance that injection (a rectangle: V/2, V^2/12) and system add."""
    mean = system.mean_m3 if system else Estimate(0.0, 0.0)
    variance = system.variance_m6 if system else Estimate(0.0, 0.0)
    return (
        Estimate(injection_volume_m3 / 2 + mean.value, float(np.hypot(mean.u, settings.origin_u_m3))),
        Estimate(injection_volume_m3**2 / 12 + variance.value, variance.u),
    )


def _nothing(doubts: tuple[Doubt, ...], settings: Settings) -> PulseResult:
    """A result without values, that says why."""
    why = doubts[-1].sentence
    withheld = {metric.name: why for metric in metrics.PULSE}
    none = np.zeros(0)
    return PulseResult(METHOD, VERSION, settings, False, {}, {}, withheld, doubts, {}, none, none, none)


def _withheld(found: Mapping[str, Estimate]) -> dict[str, str]:
    """The plain reason for each metric that has no value."""
    missing = [metric.name for metric in metrics.PULSE if metric.name not in found]
    return {
        name: REASONS.get(FOLLOWS.get(name, name), "the apex lies before the injection") for name in missing
    }
