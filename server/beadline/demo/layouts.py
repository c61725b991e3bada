"""File layouts of the demo plant's skids: invented ones, one a skid."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from beadline.demo.recording import Recording, TraceFile

Array = NDArray[np.float64]
Writer = Callable[[Recording], bytes]


def _lines(columns: list[Array | list[str]], formats: list[str], *, delimiter: str) -> str:
    """Rows of text; a missing value is an empty cell."""
    row = delimiter.join(formats)
    listed = [column if isinstance(column, list) else column.tolist() for column in columns]
    text = "\n".join([row % cells for cells in zip(*listed, strict=True)])
    return text.replace("nan", "")


def _changes_only(recording: Recording) -> list[str]:
    """The phase's name at the row where it begins, nothing elsewhere."""
    marks = [""] * len(recording.phase)
    for row in recording.mark_rows():
        marks[row] = recording.phase[row]
    return marks


def _present(recording: Recording, *names: str) -> list[str]:
    return [name for name in names if name in recording.signals]


def comma_volume(recording: Recording) -> bytes:
    """Commas, decimal point, units in the header, volume axis in mL, phase in every row."""
    known = {
        "conductivity": ("Conductivity [mS/cm]", "%.4f"),
        "uv": ("Absorbance 280 nm [mAU]", "%.2f"),
        "ph": ("pH", "%.3f"),
        "pre": ("Pressure before column [bar]", "%.4f"),
        "post": ("Pressure after column [bar]", "%.4f"),
        "flow": ("Flow [mL/min]", "%.5g"),
        "temperature": ("Temperature [°C]", "%.2f"),
    }
    names = _present(recording, *known)
    values = dict(recording.signals) | {"flow": recording.signals["flow"] / 60 * 1e3}
    head = ",".join(["Volume [mL]", *(known[name][0] for name in names), "Phase"])
    body = _lines(
        [recording.volume_l * 1e3, *(values[name] for name in names), list(recording.phase)],
        ["%.6g", *(known[name][1] for name in names), "%s"],
        delimiter=",",
    )
    preamble = (
        f"Run,{recording.title.replace(',', ' -')}\nColumn,{recording.column}\nBatch,{recording.batch}\n"
        f"Started,{recording.started_at:%Y-%m-%d %H:%M}\n\n"
    )
    return f"{preamble}{head}\n{body}\n".encode()


def semicolon_comma(recording: Recording) -> bytes:
    """Semicolons, decimal comma, a unit row, volume in L, phase only where it begins; Windows-1252."""
    known = {
        "conductivity": ("Conductivity out", "mS/cm", "%.4f"),
        "ph": ("pH out", "", "%.3f"),
        "uv": ("UV out", "mAU", "%.2f"),
        "flow": ("Flow", "L/h", "%.5g"),
        "pre": ("Pressure in front of bed", "mbar", "%.1f"),
        "post": ("Pressure behind bed", "mbar", "%.1f"),
        "temperature": ("Temperature", "°C", "%.2f"),
    }
    names = _present(recording, *known)
    values = dict(recording.signals) | {name: recording.signals[name] * 1e3 for name in ("pre", "post")}
    titles = ";".join(["Volume", *(known[name][0] for name in names), "Phase"])
    units = ";".join(["L", *(known[name][1] for name in names), ""])
    body = _lines(
        [recording.volume_l, *(values[name] for name in names)],
        ["%.6f" if recording.volume_l[-1] < 10 else "%.6g", *(known[name][2] for name in names)],
        delimiter=";",
    )
    rows = body.replace(".", ",").split("\n")
    marked = [f"{row};{mark}" for row, mark in zip(rows, _changes_only(recording), strict=True)]
    preamble = (
        f"Run;{recording.title}\nColumn;{recording.column}\nBatch;{recording.batch}\n"
        f"Begun;{recording.started_at:%d.%m.%Y %H:%M}\nSkid;2\n\n"
    )
    return "\n".join([preamble + titles, units, *marked, ""]).encode("cp1252")


def time_and_flow(recording: Recording) -> bytes:
    """Tabs, decimal point, time in minutes with a flow column and no volume; step names in a column."""
    known = {
        "flow": ("Flow (L/h)", "%.5g"),
        "conductivity": ("Outlet conductivity (mS/cm)", "%.4f"),
        "uv": ("Outlet UV (AU)", "%.5f"),
        "ph": ("Outlet pH", "%.3f"),
        "pre": ("Inlet pressure (kPa)", "%.2f"),
        "post": ("Outlet pressure (kPa)", "%.2f"),
        "temperature": ("Inlet temperature (°C)", "%.2f"),
    }
    names = _present(recording, *known)
    factors = {"uv": 1e-3, "pre": 100.0, "post": 100.0}
    head = "\t".join(["Time (min)", "Step", *(known[name][0] for name in names)])
    body = _lines(
        [
            recording.time_s / 60,
            list(recording.phase),
            *(recording.signals[name] * factors.get(name, 1.0) for name in names),
        ],
        ["%.5f", "%s", *(known[name][1] for name in names)],
        delimiter="\t",
    )
    first = f"{recording.column}\t{recording.title}\t{recording.batch}\n"
    return f"{first}Start\t{recording.started_at:%d %b %Y %H:%M}\n\n{head}\n{body}\n".encode()


def pairs(recording: Recording) -> bytes:
    """Each signal with its own volume column, slow signals at every fourth point; steps last."""
    known = {
        "conductivity": ("Conductivity", "mS/cm", "%.4f", 1),
        "uv": ("UV", "mAU", "%.2f", 1),
        "ph": ("pH", "-", "%.3f", 4),
        "pre": ("Pre-column pressure", "MPa", "%.5f", 4),
        "post": ("Post-column pressure", "MPa", "%.5f", 4),
        "flow": ("Flow rate", "L/h", "%.5g", 4),
        "temperature": ("Temperature", "degC", "%.2f", 4),
    }
    names = _present(recording, *known)
    factors = {"pre": 0.1, "post": 0.1}
    columns: list[list[str]] = []
    for name in names:
        _, _, pattern, every = known[name]
        columns.append([f"{v:.6g}" for v in recording.volume_l[::every]])
        values = recording.signals[name][::every] * factors.get(name, 1.0)
        columns.append([pattern % v if v == v else "" for v in values.tolist()])
    marks = recording.mark_rows()
    columns.append([f"{recording.volume_l[row]:.6g}" for row in marks])
    columns.append([recording.phase[row] for row in marks])
    longest = len(recording.phase)
    padded = [column + [""] * (longest - len(column)) for column in columns]
    titles = ",".join([f"{known[name][0]}," for name in names] + ["Step,"])
    units = ",".join([f"L,{known[name][1]}" for name in names] + ["L,"])
    body = "\n".join(map(",".join, zip(*padded, strict=True)))
    head = f"# {recording.column} / {recording.title} / {recording.started_at:%Y-%m-%d %H:%M}\n"
    return f"{head}{titles}\n{units}\n{body}\n".encode()


def clock(recording: Recording) -> bytes:
    """Commas, a date and time in every row, flow instead of volume, step where it begins; UTF-8 with mark."""
    known = {
        "flow": ("F-01 flow, L/h", "%.5g"),
        "conductivity": ("C-02 conductivity, mS/cm", "%.4f"),
        "uv": ("A-03 absorbance, mAU", "%.2f"),
        "ph": ("P-04 pH", "%.3f"),
        "pre": ("P-05 pressure in, bar", "%.4f"),
        "post": ("P-06 pressure out, bar", "%.4f"),
        "temperature": ("T-07 temperature, °C", "%.2f"),
    }
    names = _present(recording, *known)
    head = ",".join(["Date and time", *(f'"{known[name][0]}"' for name in names), "Step"])
    stamps = [
        (recording.started_at + timedelta(seconds=s)).strftime("%Y-%m-%d %H:%M:%S.%f")[:-4]
        for s in recording.time_s.tolist()
    ]
    body = _lines(
        [stamps, *(recording.signals[name] for name in names), _changes_only(recording)],
        ["%s", *(known[name][1] for name in names), "%s"],
        delimiter=",",
    )
    return f"{head}\n{body}\n".encode("utf-8-sig")


LAYOUTS: dict[str, Writer] = {
    "comma volume": comma_volume,
    "semicolon comma": semicolon_comma,
    "time and flow": time_and_flow,
    "pairs": pairs,
    "clock": clock,
}

_ENDINGS = {"time and flow": "txt"}


def write(recording: Recording, *, skid: str, stem: str) -> TraceFile:
    """Write a recording as its skid does.

    Raises
    ------
    KeyError
        If there is no such skid.
    """
    return TraceFile(filename=f"{stem}.{_ENDINGS.get(skid, 'csv')}", content=LAYOUTS[skid](recording))
