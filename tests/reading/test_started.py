"""When a run started is taken from its file where it can't mean two things."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading

NUMBERS = "Volume (mL);Cond (mS/cm)\n" + "\n".join(f"{at};{at / 2}" for at in range(30))
MOMENT = dt.datetime(2026, 3, 4, 5, 6)


def under(*lines: str) -> reading.Trace:
    return reading.read("\n".join([*lines, NUMBERS]).encode(), filename="run.csv")


@pytest.mark.parametrize(
    "line",
    [
        "Run started 2026-03-04 05:06", "Run started: 2026-03-04T05:06:00", "Start time;04.03.2026 05:06",
        "Started on 4 March 2026 at 05:06", "Startzeit: 4. März 2026, 05:06 Uhr", "Date;Mar 4, 2026 5:06 AM",
        "Date/Time: 04-Mar-2026 05:06:00", "Run date;2026/03/04 05:06", "Datum: 04.03.2026 05:06:00",
        "Début;4 mars 2026 05:06", "Inject;20260304 050600",
    ],
)  # fmt: skip
def test_a_line_above_the_numbers(line):
    trace = under("Skid 3", line)
    assert trace.started is not None
    assert trace.started.moment == MOMENT
    assert any(
        note.startswith("The run started on 2026-03-04 05:06, because line 2 says") for note in trace.notes
    )


@pytest.mark.parametrize("zone", ["Z", "+00:00", " UTC", "+0000"])
def test_a_zone_is_kept(zone):
    trace = under(f"Run started 2026-03-04 05:06:00{zone}")
    assert trace.started is not None
    assert trace.started.moment == MOMENT.replace(tzinfo=dt.UTC)


def test_date_and_time_on_lines_of_their_own():
    trace = under("Date;04.03.2026", "Time;05:06:00")
    assert trace.started is not None
    assert (trace.started.moment, trace.started.day_only) == (MOMENT, False)


def test_a_day_without_a_time():
    trace = under("Date;04.03.2026")
    assert trace.started is not None
    assert (trace.started.moment.date(), trace.started.day_only) == (MOMENT.date(), True)


@pytest.mark.parametrize("line", ["Date;03/04/2026 05:06", "Run started 03-04-2026", "Date: 04.03.26"])
def test_a_date_that_means_two_days_is_said_and_not_guessed(line):
    trace = under(line)
    assert trace.started is None
    assert any("can't be told" in note and "no start is taken" in note for note in trace.notes)


@pytest.mark.parametrize("date", ["13/04/2026", "04/13/2026"])
def test_a_number_above_twelve_tells_the_day(date):
    trace = under(f"Run started {date} 05:06")
    assert trace.started is not None
    assert trace.started.moment == dt.datetime(2026, 4, 13, 5, 6)


@pytest.mark.parametrize(
    "line", ["Exported 2026-03-04 05:06", "Report printed: 04.03.2026", "Calibrated;2026-03-04",
             "End time;2026-03-04 07:00", "Resin lot expires 2026-03-04", "Method modified 2026-03-04 05:06"],
)  # fmt: skip
def test_other_dates_are_left_alone(line):
    assert under(line).started is None


def test_two_starts_are_said():
    trace = under("Run started 2026-03-04 05:06", "Batch started 2026-03-04 04:00")
    assert trace.started is None
    assert any("Different dates" in note for note in trace.notes)


def test_a_start_goes_before_a_date():
    trace = under("Date;2026-03-05 09:00", "Run started;2026-03-04 05:06")
    assert trace.started is not None
    assert trace.started.moment == MOMENT


def stamped(stamps, header="Timestamp"):
    rows = [f"{stamp};90;{at / 2}" for at, stamp in enumerate(stamps)]
    return reading.read("\n".join([f"{header};Flow (L/h);Cond (mS/cm)", *rows]).encode(), filename="run.csv")


@pytest.mark.parametrize("form", ["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M:%S", "%d-%b-%Y %H:%M:%S"])
def test_the_first_stamp_of_an_axis(form):
    trace = stamped([(MOMENT + dt.timedelta(seconds=at)).strftime(form) for at in range(30)])
    assert trace.started is not None
    assert trace.started.moment == MOMENT


def test_stamps_with_a_zone():
    trace = stamped([(MOMENT + dt.timedelta(seconds=at)).isoformat() + "+01:00" for at in range(30)])
    assert trace.started is not None
    assert trace.started.moment == dt.datetime(2026, 3, 4, 4, 6, tzinfo=dt.UTC)


def test_stamps_that_mean_two_days_are_said():
    trace = stamped([(MOMENT + dt.timedelta(seconds=at)).strftime("%m/%d/%Y %H:%M:%S") for at in range(30)])
    assert trace.started is None
    assert any("day and month can't be told apart" in note for note in trace.notes)


def test_times_counted_since_1970():
    first = MOMENT.replace(tzinfo=dt.UTC).timestamp()
    trace = stamped([f"{first + at:.0f}" for at in range(30)])
    assert trace.started is not None
    assert trace.started.moment == MOMENT.replace(tzinfo=dt.UTC)


def test_the_day_above_and_the_clock_of_the_first_row():
    rows = [f"05:06:{at:02d};90;{at / 2}" for at in range(30)]
    text = "\n".join(["Date;2026-03-04", "Time;Flow (L/h);Cond (mS/cm)", *rows])
    trace = reading.read(text.encode(), filename="run.csv")
    assert trace.started is not None
    assert trace.started.moment == MOMENT


def test_the_earliest_row_of_a_long_list():
    rows = [
        f"{MOMENT + dt.timedelta(seconds=at)},{tag}"
        for at in range(30)
        for tag in ("CT,2,mS/cm", "FT,90,L/h")
    ]
    text = "\n".join(["Time,Tag,Value,Unit", *reversed(rows)])
    trace = reading.read(text.encode(), filename="history.csv")
    assert trace.started is not None
    assert trace.started.moment == MOMENT


def test_a_workbook_with_dates():
    cells = [["Timestamp", "Flow (L/h)", "Cond (mS/cm)"]]
    cells += [[MOMENT + dt.timedelta(seconds=at), 90.0, at / 2] for at in range(30)]
    trace = reading.read(skids.workbook({"Run": cells}), filename="run.xlsx")
    assert trace.started is not None
    assert trace.started.moment == MOMENT


def test_the_stamp_of_netcdf():
    """ASTM E1947 writes date_time stamps as YYYYMMDDhhmmss with the difference from GMT; from memory."""
    content = skids.netcdf(
        np.arange(50.0),
        actual_sampling_interval=1.0,
        detector_unit="mAU",
        detector_name="UV",
        injection_date_time_stamp="20260304050607+0100",
    )
    trace = reading.read(content, filename="run.cdf", flow_m3_s=1e-6)
    assert trace.started is not None
    assert trace.started.moment.isoformat() == "2026-03-04T05:06:07+01:00"
    assert any("injection_date_time_stamp" in note for note in trace.notes)


def test_the_timestamp_of_animl():
    """An experiment step's infrastructure carries an xsd:dateTime; AnIML's core schema, from memory."""
    content = skids.animl([("Volume", "mL", np.arange(50.0)), ("Cond", "mS/cm", np.arange(50.0))])
    stamp = b"<Infrastructure><Timestamp>2026-03-04T05:06:00Z</Timestamp></Infrastructure>"
    at = content.index(b"<Result>")
    trace = reading.read(content[:at] + stamp + content[at:], filename="run.animl")
    assert trace.started is not None
    assert trace.started.moment == MOMENT.replace(tzinfo=dt.UTC)


def test_nothing_is_said_where_nothing_stands():
    trace = under("Skid 3")
    assert trace.started is None
    assert not any("start" in note.lower() and "run" in note.lower() for note in trace.notes)
