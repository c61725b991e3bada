"""ASTM E1947: chromatography data in classic netCDF, one signal over time."""

from __future__ import annotations

import io
import warnings
from dataclasses import replace
from typing import Any

import numpy as np

from beadline.reading import series, started
from beadline.reading.errors import UnreadableFile
from beadline.reading.facts import Facts
from beadline.reading.profile import Profile
from beadline.reading.trace import Floats, Trace

_ATTRIBUTE_BYTES = 500


def read(content: bytes, filename: str, profile: Profile | None, given: Facts) -> Trace:
    """Read one detector's signal; the volume comes from a flow that the caller gives.

    References
    ----------
    ASTM E1947, Standard Specification for Analytical Data Interchange Protocol for Chromatographic Data.
    """
    from scipy.io import netcdf_file  # here, since it would slow every start and few files need it

    notes: list[str] = []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            file = netcdf_file(io.BytesIO(content), "r", mmap=False)
        values = _variable(file, "ordinate_values")
        times, unit = _times(file, len(values) if values is not None else 0, notes)
        name = _text(file, "detector_name") or _text(file, "sample_name") or "signal"
        measured = _text(file, "detector_unit")
    except UnreadableFile:
        raise
    except Exception as error:  # scipy reads hostile headers without checking them
        raise _broken(f"it is damaged or cut short ({type(error).__name__})", filename, "damaged") from error
    if values is None:
        raise _broken("it has no variable ordinate_values, the signal of ASTM E1947", filename, "no-signal")
    if len(values) < 2:
        raise _broken(
            f"it holds {len(values)} sample; a trace needs two at least", filename, "too-few-points"
        )
    found = [
        series.Series("time", unit, times, 0, independent=True),
        series.Series(name, measured, values, 0),
    ]
    injected = started.from_text(_text(file, "injection_date_time_stamp"))
    if injected is not None:
        injected = replace(injected, source=f"its injection_date_time_stamp is {injected.source}")
    return series.trace(
        found, kind="andi", filename=filename, profile=profile, given=given, notes=notes, started=injected
    )


def _variable(file: Any, name: str) -> Floats | None:
    variable = file.variables.get(name)
    if variable is None:
        return None
    return np.atleast_1d(np.array(variable[()] if not variable.shape else variable[:], dtype=float)).ravel()


def _text(file: Any, name: str) -> str:
    value = getattr(file, name, b"")
    text = value.decode("latin-1") if isinstance(value, bytes) else str(value)
    return text[:_ATTRIBUTE_BYTES].replace("\x00", "").strip()


def _times(file: Any, count: int, notes: list[str]) -> tuple[Floats, str]:
    """Return the time of each sample and its unit: explicit times, or a start and a step."""
    unit = _text(file, "retention_unit")
    if not unit:
        notes.append(
            "The file does not say the unit of time; seconds are assumed, as is usual in ASTM E1947."
        )
    explicit = _variable(file, "raw_data_retention")
    if explicit is not None and len(explicit) == count and count > 1 and np.ptp(explicit) > 0:
        return explicit, unit or "s"
    step = _variable(file, "actual_sampling_interval")
    length = _variable(file, "actual_run_time_length")
    delay = _variable(file, "actual_delay_time")
    size = float(step[0]) if step is not None and len(step) else 0.0
    if not size > 0 and length is not None and count > 1:
        size = float(length[0]) / (count - 1)
        notes.append(
            "The sampling interval is missing; it was taken from the run's length and the number of samples."
        )
    if not size > 0 or not np.isfinite(size):
        raise UnreadableFile(
            f"The sampling interval is {size:g}, so that samples have no time.",
            where="actual_sampling_interval",
            mend="Export the run again with its sampling interval.",
            code="still-axis",
        )
    start = float(delay[0]) if delay is not None and len(delay) else 0.0
    times: Floats = start + size * np.arange(count, dtype=float)
    return times, unit or "s"


def _broken(why: str, filename: str, code: str) -> UnreadableFile:
    return UnreadableFile(
        f"The netCDF file can't be read: {why}.",
        where=filename,
        mend="Export it again as ASTM E1947 netCDF (classic format), or as CSV.",
        code=code,
    )
