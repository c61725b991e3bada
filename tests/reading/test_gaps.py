"""A few values missing are gaps, whatever stands in their place; the rest of the file counts."""

from __future__ import annotations

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading
from beadline.science import transition

HEADER = [["Volume (mL)", "Cond (mS/cm)", "Temp (°C)"]]


def with_cells(cells: dict[tuple[int, int], str], *, rows: int = 100, delimiter: str = ",") -> bytes:
    table = [[str(i), f"{i * 0.5}", "20"] for i in range(rows)]
    for (row, column), cell in cells.items():
        table[row][column] = cell
    return skids.table(table, header=HEADER, delimiter=delimiter).encode()


@pytest.mark.parametrize("row", [0, 1, 50, 98, 99])
@pytest.mark.parametrize("cell", ["NaN", "nan", "-inf", "Infinity", "1e999", "#DIV/0!", "", "Bad"])
def test_one_value_missing_is_a_gap_and_said(row, cell):
    trace = reading.read(with_cells({(row, 1): cell}), filename="run.csv")
    cond = trace.signals[0]
    assert np.flatnonzero(np.isnan(cond.values)).tolist() == [row]
    assert len(cond.volume_m3) == 100
    assert sum("“Cond (mS/cm)”" in note and "kept as gaps." in note for note in trace.notes) == 1


@pytest.mark.parametrize("row", [1, 50, 98, 99])
@pytest.mark.parametrize("cell", ["", "NaN", "Bad", "#VALUE!"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_a_row_without_its_volume_is_passed_over_and_said(row, cell, delimiter):
    trace = reading.read(with_cells({(row, 0): cell}, delimiter=delimiter), filename="run.csv")
    assert len(trace.signals[0].values) == 99
    assert f"1 row without a place on the axis passed over, the first on line {row + 2}." in trace.notes


@pytest.mark.parametrize("row", [1, 50, 99])
def test_a_row_without_its_time_is_passed_over(row):
    rows = [[f"10:{i // 60:02d}:{i % 60:02d}", "2", str(i)] for i in range(100)]
    rows[row][0] = ""
    trace = reading.read(
        skids.table(rows, header=[["Time", "Flow (L/h)", "Cond (mS/cm)"]]).encode(), filename="run.csv"
    )
    cond = next(one for one in trace.signals if one.quantity == "conductivity")
    assert len(cond.values) == 99
    assert cond.volume_m3[-1] == pytest.approx((99 if row < 99 else 98) * 2e-3 / 3600)


def test_with_two_columns_no_number_becomes_the_name_of_a_step():
    text = "Volume (mL);Cond (mS/cm)\n" + "\n".join(f"{i if i != 20 else ''};{i}" for i in range(60))
    trace = reading.read(text.encode(), filename="run.csv")
    assert trace.marks == ()
    assert len(trace.signals[0].values) == 59


def test_a_column_of_nothing_but_nan_is_left_out():
    rows = [[str(i), str(i), "NaN"] for i in range(60)]
    trace = reading.read(skids.table(rows, header=HEADER).encode(), filename="run.csv")
    assert [one.quantity for one in trace.signals] == ["conductivity"]
    assert trace.marks == ()


def test_pairs_of_columns_padded_with_nan():
    rows = [[str(i), str(i * 2), str(i) if i < 30 else "NaN", str(i) if i < 30 else "NaN"] for i in range(60)]
    header = [["Volume (mL)", "Cond (mS/cm)", "Volume (mL)", "UV (mAU)"]]
    trace = reading.read(skids.table(rows, header=header).encode(), filename="run.csv")
    assert [len(one.values) for one in trace.signals] == [60, 30]


def test_netcdf_with_a_value_missing():
    values = np.arange(50.0)
    values[20] = np.nan
    content = skids.netcdf(values, actual_sampling_interval=1.0, detector_unit="mAU", detector_name="UV")
    trace = reading.read(content, filename="run.cdf", flow_m3_s=1e-6)
    assert np.flatnonzero(np.isnan(trace.signals[0].values)).tolist() == [20]


def front(gone: slice) -> transition.TransitionResult:
    """A Gaussian front of 222 µm plate height (0.2 m x (0.03 / 0.9)^2), a stretch of its points gone."""
    from scipy.special import ndtr

    volume = np.linspace(-0.2, 2.0, 441)
    values = 2 + 10 * ndtr((volume - 0.9) / 0.03)
    values[gone] = np.nan
    return transition.analyse(volume * 1e-3, values, bed_volume_m3=1e-3, bed_height_m=0.2)


@pytest.mark.parametrize("gone", [slice(220, 223), slice(50, 53), slice(300, 303)])
def test_the_analysis_copes_with_a_few_points_gone(gone):
    result = front(gone)
    assert result.usable
    assert result.estimates["hetp_moments"].value == pytest.approx(222e-6, rel=0.02)


def test_the_analysis_doubts_a_front_that_is_gone():
    result = front(slice(205, 235))
    assert any("gap" in doubt.sentence for doubt in result.doubts)
