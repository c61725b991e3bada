"""Invented files as different skids might write them, all of one and the same run."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import openpyxl
from scipy.io import netcdf_file

BED_M3 = 50e-6
FLOW_ML_MIN = 5.0


@dataclass(frozen=True)
class Run:
    """What was recorded, in the trade's units."""

    volume_ml: np.ndarray
    time_min: np.ndarray
    cond: np.ndarray
    uv: np.ndarray
    pressure_bar: np.ndarray
    temp_c: np.ndarray
    phase: tuple[str, ...]


def a_run(rows: int = 300, *, end_ml: float = 600.0) -> Run:
    """A load, a wash and a strip; conductivity falls at the wash and rises at the strip."""
    volume = np.round(np.linspace(0.0, end_ml, rows), 3)
    cond = 12 - 10 / (1 + np.exp(-(volume - 250) / 6)) + 70 / (1 + np.exp(-(volume - 450) / 6))
    uv = 1500 * np.exp(-(((volume - 480) / 20) ** 2))
    phase = tuple("Load" if v < 200 else "Wash" if v < 400 else "Strip" for v in volume)
    flat = np.ones(rows)
    return Run(volume, volume / FLOW_ML_MIN, cond.round(4), uv.round(3), 1.8 * flat, 21.5 * flat, phase)


def number(value: float, decimal: str = ".", digits: int = 4, thousands: str = "") -> str:
    """Write a number as a locale does."""
    return f"{value:,.{digits}f}".replace(",", "\0").replace(".", decimal).replace("\0", thousands)


def table(
    rows: Sequence[Sequence[str]],
    *,
    header: Sequence[Sequence[str]],
    preamble: Sequence[str] = (),
    delimiter: str = ",",
    end: str = "\n",
    after: Sequence[str] = (),
) -> str:
    """Join cells into a text."""
    lines = [*preamble, *(delimiter.join(row) for row in (*header, *rows)), *after]
    return end.join(lines) + end


def workbook(sheets: dict[str, Sequence[Sequence[object]]]) -> bytes:
    """Write sheets into an XLSX file."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def netcdf(values: np.ndarray, **extra: object) -> bytes:
    """Write a file with the variables and attributes of ASTM E1947 (names as commonly used, from memory)."""
    stream = io.BytesIO()
    file = netcdf_file(stream, "w")
    file.createDimension("point_number", len(values))
    file.createVariable("ordinate_values", "f4", ("point_number",))[:] = values
    for name in ("actual_sampling_interval", "actual_delay_time", "actual_run_time_length"):
        if name in extra:
            file.createVariable(name, "f4", ())[...] = extra[name]
    for name in (
        "detector_unit",
        "retention_unit",
        "detector_name",
        "sample_name",
        "injection_date_time_stamp",
    ):
        if name in extra:
            setattr(file, name, extra[name])
    file.flush()
    content = stream.getvalue()
    file.close()
    return content


def _comma_point(run: Run) -> bytes:
    header = [
        "Volume (mL)",
        "Cond (mS/cm)",
        "UV 280 nm (mAU)",
        "Pressure before column (bar)",
        "Temp (°C)",
        "Phase",
    ]
    rows = [
        [number(v, digits=3), number(c), number(u, digits=3), number(p), number(t), name]
        for v, c, u, p, t, name in _zipped(run)
    ]
    preamble = ["Run report", "Column,Heron", "Operator,A. B.", ""]
    return table(rows, header=[header], preamble=preamble).encode()


def _semicolon_comma_time(run: Run) -> bytes:
    header = ["Zeit", "Durchfluss", "Leitfähigkeit", "UV 280", "Druck vor Säule", "Temperatur", "Schritt"]
    units = ["min", "mL/min", "mS/cm", "AU", "kPa", "°C", ""]
    rows = [
        [*(number(x, ",", 6) for x in (v / FLOW_ML_MIN, 5.0, c, u / 1000, p * 100, t)), name]
        for (v, c, u, p, t, _), name in zip(_zipped(run), _changes(run.phase), strict=True)
    ]  # fmt: skip
    preamble = ["Anlage;Skid 3", "Auftrag;4711", "Säule;Reiher"]
    return table(rows, header=[header, units], preamble=preamble, delimiter=";", end="\r\n").encode("cp1252")


def _pairs_utf16(run: Run) -> bytes:
    header = ["UV", "", "Cond", "", "Press. pre column", "", "Temp", "", "Event", ""]
    units = ["mL", "mAU", "mL", "mS/cm", "mL", "MPa", "mL", "°C", "mL", "text"]
    starts = [(v, n) for v, n in zip(run.volume_ml, _changes(run.phase), strict=True) if n]
    rows = []
    for index, (v, c, u, p, t, _) in enumerate(_zipped(run)):
        x = number(v, digits=3)
        event = [number(starts[index][0], digits=3), starts[index][1]] if index < len(starts) else ["", ""]
        rows.append([x, number(u, digits=3), x, number(c), x, number(p / 10, digits=5), x, number(t), *event])
    return table(rows, header=[header, units], delimiter="\t").encode("utf-16")


def _clock_and_log(run: Run) -> bytes:
    header = [
        "Timestamp",
        "Flow rate [L/h]",
        "Conductivity [µS/cm]",
        "A280 [mAU]",
        "Inlet pressure [psi]",
        "Temperature [°C]",
    ]
    rows = [
        [
            _stamp(v),
            "0.3",
            number(c * 1000, digits=1),
            number(u, digits=3),
            number(p * 14.503773773, digits=6),
            number(t),
        ]
        for v, c, u, p, t, _ in _zipped(run)
    ]
    log = ["", "Event log", "Timestamp,Event"]
    log += [f"{_stamp(v)},{name}" for v, name in zip(run.volume_ml, _changes(run.phase), strict=True) if name]
    return table(rows, header=[header], after=log).encode("utf-8-sig")


def _sheet(run: Run) -> bytes:
    header = ["Volume", "Cond", "UV", "Delta pressure", "Temp", "Step"]
    rows: list[list[object]] = [["Skid 5"], [], header, ["L", "mS/cm", "mAU", "bar", "°C", None]]
    rows += [[v / 1000, c, u, p, t, name] for v, c, u, p, t, name in _zipped(run)]
    return workbook({"Run": rows, "Remarks": [["nothing"]]})


def _zipped(run: Run) -> list[tuple[float, float, float, float, float, str]]:
    return list(zip(run.volume_ml, run.cond, run.uv, run.pressure_bar, run.temp_c, run.phase, strict=True))


def _changes(names: Sequence[str]) -> list[str]:
    return [name if index == 0 or names[index - 1] != name else "" for index, name in enumerate(names)]


def _stamp(volume_ml: float) -> str:
    seconds = volume_ml / FLOW_ML_MIN * 60 + 85_000  # passes midnight
    day, second = divmod(round(seconds * 1000), 86_400_000)
    hours, rest = divmod(second, 3_600_000)
    minutes, millis = divmod(rest, 60_000)
    return f"{3 + day:02d}.11.2031 {hours:02d}:{minutes:02d}:{millis / 1000:06.3f}"


LAYOUTS: dict[str, Callable[[Run], bytes]] = {
    "comma-point.csv": _comma_point,
    "semicolon-comma-time.csv": _semicolon_comma_time,
    "pairs-utf16.txt": _pairs_utf16,
    "clock-and-log.csv": _clock_and_log,
    "sheet.xlsx": _sheet,
}


def animl(series: Sequence[tuple[str, str, np.ndarray]], *, packed: bool = False) -> bytes:
    """Write one series set, the first series independent, by AnIML's core schema (draft 0.90)."""
    parts = []
    for index, (name, unit, values) in enumerate(series):
        dependency = "dependent" if index else "independent"
        if packed:
            body = base64.b64encode(np.asarray(values, dtype="<f8").tobytes()).decode()
            body = f"<EncodedValueSet>{body}</EncodedValueSet>"
        else:
            body = "".join(f"<D>{value!r}</D>" for value in values.tolist())
            body = f"<IndividualValueSet>{body}</IndividualValueSet>"
        parts.append(
            f'<Series name="{name}" seriesID="s{index}" seriesType="Float64" dependency="{dependency}">{body}'
            f'<Unit label="{unit}"/></Series>'
        )
    joined = "".join(parts)
    return (
        '<?xml version="1.0" encoding="utf-8"?>'
        '<AnIML xmlns="urn:org:astm:animl:schema:core:draft:0.90" version="0.90">'
        '<ExperimentStepSet><ExperimentStep name="Run" experimentStepID="e1"><Result>'
        f'<SeriesSet name="Run" length="{len(series[0][2])}">{joined}</SeriesSet>'
        "</Result></ExperimentStep></ExperimentStepSet></AnIML>"
    ).encode()
