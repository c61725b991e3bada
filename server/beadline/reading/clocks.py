"""Clock times, dates and spans of time, as seconds."""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from beadline.reading import cells
from beadline.reading.trace import Floats

DAY_S = 86400.0
# Stored in reading profiles; never renamed.
FORMS = ("h:m:s", "h:m", "m:s", "date, year first", "date, day first", "date, month first")
UNCLEAR = "h:m or m:s"  # a guess only; no profile reads by it
_CLOCK = re.compile(
    r"(?:P?T?(\d+)\s*(?:d|days?)[ ,]*)?(\d{1,4}):(\d{1,2})(?::(\d{1,2}(?:[.,]\d+)?))?\s*([AaPp])?\.?[Mm]?\.?"
)
_DATE = re.compile(r"(\d+)([-/. ])(\w+\.?)[-/. ](\d+)(.*)", re.DOTALL)


def form_of(sample: Sequence[str], header: str = "") -> str:
    """Return how these cells write time, one of `FORMS`."""
    filled = [cell for cell in sample if cell]
    if not any(cells.DATE.match(cell) for cell in filled):
        if any(cell.count(":") == 2 for cell in filled):
            return "h:m:s"
        return _two_parts(filled, header)
    parts = [found for cell in filled if (found := _DATE.match(cell))]
    if not parts or len(parts[0][1]) == 4:
        return "date, year first"
    if not parts[0][3].isdigit() or max(int(part[1]) for part in parts) > 12:
        return "date, day first"
    if max(int(part[3]) for part in parts if part[3].isdigit()) > 12:
        return "date, month first"
    if parts[0][2] == "/" and (
        len({part[3] for part in parts}) > len({part[1] for part in parts}) or "M" in filled[0].upper()
    ):
        return "date, month first"
    return "date, day first"


def _two_parts(filled: Sequence[str], header: str) -> str:
    """Return the form of cells such as 0:04, which count hours or minutes from zero; `UNCLEAR` if open."""
    if re.search(r"\bm{1,2}:s", header, re.IGNORECASE):
        return "m:s"
    said = re.search(r"\bh{1,2}:m", header, re.IGNORECASE) or any(
        re.search("[apAP]", cell) for cell in filled
    )
    from_zero = bool(filled) and re.fullmatch(r"0{1,2}:0?\d", filled[0]) is not None
    return UNCLEAR if from_zero and not said else "h:m"


def seconds(texts: Sequence[str], form: str) -> Floats:
    """Return cells of time in seconds since midnight, or since 1970 if dated; NaN if unreadable."""
    if not form.startswith("date"):
        return np.array([_clock_s(cell, form) for cell in texts], dtype=float)
    import pandas as pd  # here, since it would slow every start

    series = (
        pd.Series(list(texts), dtype=object)
        .str.replace(",", ".", regex=False)
        .str.replace(r"\s+", " ", regex=True)
    )
    out = np.full(len(series), np.nan)
    missing = (series != "").to_numpy(copy=True)
    for _ in range(4):
        if not missing.any():
            break
        todo = np.flatnonzero(missing)
        written = _format(str(series.iloc[todo[0]]), form)
        stamps = pd.to_datetime(series.iloc[todo], format=written, errors="coerce", utc=True)
        known = stamps.notna().to_numpy()
        out[todo[known]] = stamps[known].astype("datetime64[ns, UTC]").astype("int64").to_numpy() / 1e9
        if not known.any():
            break
        missing[todo[known]] = False
    return out


def unwrap(times_s: Floats) -> tuple[Floats, int]:
    """Let a clock that passes midnight run on; returns the times and how often it did."""
    steps = np.diff(times_s)
    turns = np.concatenate([[0], np.cumsum(steps < -DAY_S / 2)])
    return times_s + DAY_S * turns, int(turns[-1]) if len(turns) else 0


def written(time_s: float) -> str:
    """Return seconds as people write them: with the date if they count from 1970."""
    stamp = np.datetime64(round(time_s * 1000), "ms")
    text = str(stamp).replace("T", " ")
    return text if time_s > 40 * DAY_S else text[11:]


def _clock_s(cell: str, form: str) -> float:
    found = _CLOCK.fullmatch(cell)
    if found is None:
        return float("nan")
    days, first, second, third, half = found.groups()
    if form == "m:s" and third is None:
        return int(first) * 60.0 + int(second)
    hours = int(first) % 12 + (12 if half.lower() == "p" else 0) if half else int(first)
    return (
        int(days or 0) * DAY_S + hours * 3600.0 + int(second) * 60.0 + float((third or "0").replace(",", "."))
    )


def _format(cell: str, form: str) -> str:
    """Return strptime's format of one cell."""
    if re.fullmatch(r"\d{8}T\d{6}.*", cell):
        return "%Y%m%dT%H%M%S" + _zone(cell[15:])
    found = _DATE.match(cell)
    if found is None:
        return "%Y-%m-%d"
    _, mark, middle, last, rest = found.groups()
    if form == "date, year first":
        date = f"%Y{mark}%m{mark}%d"
    else:
        month = "%m" if middle.isdigit() else "%b" if len(middle.rstrip(".")) <= 3 else "%B"
        year = "%Y" if len(last) == 4 else "%y"
        date = f"%m{mark}%d{mark}{year}" if form == "date, month first" else f"%d{mark}{month}{mark}{year}"
    clock = re.match(r"([T _.]*)(\d+):(\d+)(:\d+)?(\.\d+)?(\s*[AaPp][Mm])?", rest)
    if clock is None:
        return date
    gap, _, _, sec, fraction, half = clock.groups()
    out = date + gap + ("%I:%M" if half else "%H:%M") + (":%S" if sec else "") + (".%f" if fraction else "")
    return out + (half[: len(half) - 2] + "%p" if half else "") + _zone(rest[clock.end() :])


def _zone(rest: str) -> str:
    return rest[: len(rest) - len(rest.lstrip())] + "%z" if re.search(r"[Z+\-]|UTC|GMT", rest) else ""
