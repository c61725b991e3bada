"""Runs that come as arrays instead of a file: written down as the text that a skid would have written."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from beadline.kit.errors import Invalid

Quantity = Literal["conductivity", "uv", "ph", "pressure", "flow", "temperature"]
_WORDS = {
    "conductivity": "Conductivity",
    "uv": "Absorbance",
    "ph": "pH",
    "pressure": "Pressure",
    "flow": "Flow",
    "temperature": "Temperature",
    "volume": "Volume",
    "time": "Time",
}
_PLACES = {"": "", "pre": " before column", "post": " after column", "delta": " drop over column"}


@dataclass(frozen=True, slots=True)
class Values:
    """An axis or a signal: what it is, where its probe sits, its unit and its numbers; None is a gap."""

    quantity: str
    unit: str
    values: Sequence[float | None]
    place: str = ""

    @property
    def header(self) -> str:
        """The name of its column."""
        name = f"{_WORDS[self.quantity]}{_PLACES[self.place]}"
        return f"{name} [{self.unit}]" if self.unit else name


def as_text(
    axis: Values,
    signals: Sequence[Values],
    marks: Sequence[tuple[str, float]],
    *,
    started_at: datetime | None,
) -> bytes:
    """Return a run as delimited text, every number as it came; the same arrays give the same bytes.

    Parameters
    ----------
    axis : Values
        Volume or time.
    signals : sequence of Values
        As long as the axis.
    marks : sequence of (str, float)
        Steps and where on the axis each begins.

    Raises
    ------
    Invalid
        If a signal is not as long as the axis, or two are the same.
    """
    headers = [axis.header, *(one.header for one in signals)]
    for place, one in enumerate(signals):
        if len(one.values) != len(axis.values):
            said = f"{one.header} has {len(one.values)} values; the axis has {len(axis.values)}."
            mend = "Send a value for each place of the axis, null for a gap."
            raise Invalid(said, where=f"signals.{place}.values", mend=mend)
        if headers.index(one.header) != place + 1:
            said = f"{one.header} comes twice."
            raise Invalid(said, where=f"signals.{place}", mend="Tell the two apart by `place`.")
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    if started_at is not None:
        writer.writerow(["Started", f"{started_at.isoformat(sep=' ')}"])
    writer.writerow([*headers, *(["Phase"] if marks else [])])
    ordered = sorted(marks, key=lambda mark: mark[1])
    for row in zip(axis.values, *(one.values for one in signals), strict=True):
        cells = ["" if value is None else repr(float(value)) for value in row]
        writer.writerow([*cells, *([_phase(ordered, row[0])] if marks else [])])
    return out.getvalue().encode()


def _phase(marks: Sequence[tuple[str, float]], at: float | None) -> str:
    """Return the step that runs at a place of the axis."""
    return next((name for name, begins in reversed(marks) if at is not None and begins <= at), "")
