"""Interchange formats and workbooks.

Facts of ASTM E1947 are from memory, those of AnIML from its public core schema (draft 0.90).
"""

from __future__ import annotations

import datetime

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading

CURVE = 5 + np.sin(np.arange(200) / 20.0)


def test_netcdf_needs_and_uses_a_given_flow():
    content = skids.netcdf(
        CURVE,
        actual_sampling_interval=0.5,
        actual_delay_time=2.0,
        detector_unit=b"mS/cm",
        detector_name=b"Cond",
    )
    trace = reading.read(content, filename="run.cdf", flow_m3_s=2e-6)
    (signal,) = trace.signals
    assert (signal.name, signal.quantity, signal.unit) == ("Cond", "conductivity", "mS/cm")
    np.testing.assert_allclose(signal.values, CURVE, rtol=1e-6)  # stored as 4-byte floats
    assert signal.volume_m3[-1] == pytest.approx(199 * 0.5 * 2e-6)
    assert any("seconds are assumed" in note for note in trace.notes)
    with pytest.raises(reading.UnreadableFile, match="neither a volume nor a flow"):
        reading.read(content, filename="run.cdf")


def test_netcdf_says_its_time_unit_and_may_lack_the_step():
    content = skids.netcdf(
        CURVE,
        actual_run_time_length=19.9,
        retention_unit=b"minutes",
        detector_unit=b"AU",
        detector_name=b"UV",
    )
    trace = reading.read(content, filename="run.cdf", flow_m3_s=1e-6)
    assert trace.time_s[-1] == pytest.approx(19.9 * 60, rel=1e-6)
    np.testing.assert_allclose(trace.signals[0].values, CURVE * 1000, rtol=1e-6)


@pytest.mark.parametrize("packed", [False, True])
def test_animl_with_plain_and_packed_values(packed):
    series = [
        ("Volume", "mL", np.arange(200.0)),
        ("Conductivity", "mS/cm", CURVE),
        ("Temp", "°C", np.full(200, 20.0)),
    ]
    trace = reading.read(skids.animl(series, packed=packed), filename="run.animl")
    assert [signal.quantity for signal in trace.signals] == ["conductivity", "temperature"]
    np.testing.assert_array_equal(trace.signals[0].values, CURVE)
    assert trace.signals[0].volume_m3[-1] == pytest.approx(199e-6)
    again = reading.read(skids.animl(series, packed=packed), filename="run.animl", profile=trace.profile)
    np.testing.assert_array_equal(again.signals[0].values, trace.signals[0].values)


def test_animl_over_time_with_flow():
    series = [("Time", "min", np.arange(200.0)), ("Flow", "mL/min", np.full(200, 3.0)), ("UV", "mAU", CURVE)]
    trace = reading.read(skids.animl(series), filename="run.animl")
    assert trace.signals[1].volume_m3[-1] == pytest.approx(199 * 3e-6)


def test_animl_that_counts_its_own_axis_in_two_sets():
    def one_set(name: str, unit: str, step: float) -> str:
        return (
            '<SeriesSet name="x" length="20">'
            '<Series seriesID="a" name="Volume" seriesType="Float64" dependency="independent">'
            "<AutoIncrementedValueSet><StartValue><D>0</D></StartValue>"
            f"<Increment><D>{step}</D></Increment>"
            '</AutoIncrementedValueSet><Unit label="mL"/></Series>'
            f'<Series seriesID="b" name="{name}" seriesType="Int32" dependency="dependent">'
            "<IndividualValueSet>"
            + "".join(f"<I>{value}</I>" for value in range(20))
            + f'</IndividualValueSet><Unit label="{unit}"/></Series></SeriesSet>'
        )

    text = f"<AnIML>{one_set('Cond', 'mS/cm', 0.5)}{one_set('UV', 'mAU', 2.0)}</AnIML>"
    trace = reading.read(text.encode(), filename="run.animl")
    assert [signal.volume_m3[-1] for signal in trace.signals] == pytest.approx([9.5e-6, 38e-6])
    assert [signal.values[-1] for signal in trace.signals] == [19, 19]


def test_a_workbook_with_real_dates_and_text_numbers():
    start = datetime.datetime(2031, 11, 3, 23, 50)
    rows: list[list[object]] = [["Time", "Flow (L/h)", "Cond (mS/cm)"]]
    rows += [[start + datetime.timedelta(seconds=10 * i), 6, f"{i}.5"] for i in range(120)]
    trace = reading.read(
        skids.workbook({"Cover": [["Skid 5", "no numbers here"]], "Data": rows}), filename="run.xlsx"
    )
    assert trace.time_s[-1] == pytest.approx(1190)
    assert trace.signals[1].values[-1] == 119.5
    assert trace.profile.sheet == "Data"
