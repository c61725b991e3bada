"""Lists as historians export them, one value a row, are read like tables of the same run."""

from __future__ import annotations

import datetime as dt
import json

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading

START = dt.datetime(2026, 3, 4, 23, 50)
SECONDS = np.arange(0.0, 1200.0, 4.0)
FLOW_L_H = 90.0
TAGS = ("CT101.PV", "AT102.PV", "FT103.PV", "STEP")


def cond(second: float) -> float:
    return 2.0 + 10.0 / (1 + np.exp(-(second - 600) / 40))


def rows(*, every: float = 1.0) -> list[tuple[dt.datetime, str, str, str]]:
    """Rows of time, tag, value and unit; each tag at moments of its own."""
    out = []
    for second in SECONDS:
        moments = [START + dt.timedelta(seconds=float(second) + late) for late in (0.0, 1.0, 2.0, 3.0)]
        out.append((moments[0], "CT101.PV", f"{cond(second):.4f}", "mS/cm"))
        out.append((moments[1], "AT102.PV", f"{5.0 + second / 100:.3f}", "mAU"))
        out.append((moments[2], "FT103.PV", f"{FLOW_L_H:.2f}", "L/h"))
        if second % 400 == 0:
            out.append((moments[3], "STEP", ("Load", "Wash", "Strip")[int(second // 400)], ""))
    return out


def listed(
    header: str = "Timestamp,TagName,Value,Units,Quality",
    *,
    stamp: str = "%Y-%m-%d %H:%M:%S",
    comma: bool = False,
    entries=None,
    bad: frozenset[int] = frozenset(),
) -> bytes:
    mark = ";" if ";" in header else "\t" if "\t" in header else ","
    lines = [header]
    for number, (when, tag, value, unit) in enumerate(entries if entries is not None else rows()):
        cells = [when.strftime(stamp), tag, value.replace(".", ",") if comma else value]
        cells += [unit, "Bad" if number in bad else "Good"][: header.count(mark) - 2]
        lines.append(mark.join(cells))
    return "\n".join(lines).encode()


def signal(trace, quantity):
    return next(one for one in trace.signals if one.quantity == quantity)


def assert_is_the_run(trace):
    """Flow is 90 L/h from the first to the last second, so volume is known at each conductivity."""
    found = signal(trace, "conductivity")
    passed = np.clip(SECONDS - 2.0, 0.0, None) * FLOW_L_H / 3600 * 1e-3  # flow is known from its first row on
    np.testing.assert_allclose(found.volume_m3, passed, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(found.values, [cond(second) for second in SECONDS], atol=1e-4)
    assert [mark.name for mark in trace.marks] == ["Load", "Wash", "Strip"]
    np.testing.assert_allclose(trace.marks[1].volume_m3, 401 * FLOW_L_H / 3600 * 1e-3, rtol=1e-6)


@pytest.mark.parametrize(
    ("header", "stamp", "comma"),
    [
        ("Timestamp,TagName,Value,Units,Quality", "%Y-%m-%d %H:%M:%S", False),
        ("time;point;val;eng units;status", "%Y-%m-%dT%H:%M:%S", False),
        ("Zeit;Messstelle;Wert;Einheit;Status", "%d.%m.%Y %H:%M:%S", True),
        ("Date Time\tSignal\tReading\tUOM", "%m/%d/%Y %I:%M:%S %p", False),
        ("_time,signal_id,_value,unit", "%Y-%m-%dT%H:%M:%SZ", False),
        ("Time;Tag;Value;Unit", "%H:%M:%S", False),
    ],
)
def test_tags_become_signals_at_their_own_times(header, stamp, comma):
    trace = reading.read(listed(header, stamp=stamp, comma=comma), filename="history.csv")
    assert_is_the_run(trace)
    assert any("long list" in note and "becomes a signal" in note for note in trace.notes)


def test_units_in_the_tags_and_no_other_column():
    named = {"CT101.PV": "Cond outlet (mS/cm)", "AT102.PV": "UV 280 (mAU)", "FT103.PV": "Flow (L/h)"}
    entries = [(when, named.get(tag, tag), value, unit) for when, tag, value, unit in rows()]
    trace = reading.read(listed("Moment,Which,What", entries=entries), filename="history.csv")
    assert_is_the_run(trace)


def test_without_a_header():
    named = {"CT101.PV": "Cond outlet (mS/cm)", "AT102.PV": "UV 280 (mAU)", "FT103.PV": "Flow (L/h)"}
    entries = [(when, named.get(tag, tag), value, unit) for when, tag, value, unit in rows()]
    content = listed("a,b,c", entries=entries).split(b"\n", 1)[1]
    assert_is_the_run(reading.read(content, filename="history.csv"))


@pytest.mark.parametrize("order", ["by tag", "newest first", "shuffled"])
def test_the_order_of_rows_does_not_matter(order):
    entries = rows()
    if order == "by tag":
        entries.sort(key=lambda row: row[1])
    elif order == "newest first":
        entries.reverse()
    else:
        np.random.default_rng(3).shuffle(entries)
    assert_is_the_run(reading.read(listed(entries=entries), filename="history.csv"))


def test_dates_and_clocks_in_columns_of_their_own():
    content = listed("Date,Time,Tag,Value,Unit", stamp="%Y-%m-%d,%H:%M:%S", entries=rows())
    assert_is_the_run(reading.read(content, filename="history.csv"))


def test_descriptions_say_what_opaque_tags_are():
    about = {"CT101.PV": "Conductivity", "AT102.PV": "UV 280 nm", "FT103.PV": "Flow", "STEP": "Phase"}
    lines = ["Tag;Description;Timestamp;Value;Unit"]
    lines += [f"{tag};{about[tag]};{when.isoformat()};{value};{unit}" for when, tag, value, unit in rows()]
    assert_is_the_run(reading.read("\n".join(lines).encode(), filename="history.csv"))


def test_times_counted_since_1970():
    lines = ["timestamp,tag,value,unit"]
    for when, tag, value, unit in rows():
        lines.append(f"{when.replace(tzinfo=dt.UTC).timestamp() * 1000:.0f},{tag},{value},{unit}")
    assert_is_the_run(reading.read("\n".join(lines).encode(), filename="history.csv"))


def test_a_list_in_a_workbook():
    cells = [["Timestamp", "Tag", "Value", "Unit"]]
    cells += [
        [when, tag, value if tag == "STEP" else float(value), unit] for when, tag, value, unit in rows()
    ]
    assert_is_the_run(reading.read(skids.workbook({"Export": cells}), filename="history.xlsx"))


def test_bad_values_are_gaps_and_said():
    bad = frozenset([at for at, row in enumerate(rows()) if row[1] == "CT101.PV"][50:55])
    trace = reading.read(listed(bad=bad), filename="history.csv")
    found = signal(trace, "conductivity")
    assert np.flatnonzero(np.isnan(found.values)).tolist() == [50, 51, 52, 53, 54]
    assert "“CT101.PV”: 5 values called bad, kept as gaps." in trace.notes


@pytest.mark.parametrize(
    ("fine", "poor"), [("192", "24"), ("0", "-2146"), ("100", "0"), ("Good", "Uncertain")]
)
def test_quality_by_word_and_by_number(fine, poor):
    lines = ["Timestamp,Tag,Value,Unit,Quality"]
    for number, (when, tag, value, unit) in enumerate(rows()):
        lines.append(f"{when},{tag},{value},{unit},{poor if number == 200 else fine}")
    trace = reading.read("\n".join(lines).encode(), filename="history.csv")
    assert sum("1 value called bad" in note for note in trace.notes) == 1


def test_a_totaliser_is_the_volume():
    entries = []
    for when, tag, value, unit in rows():
        if tag == "FT103.PV":
            second = (when - START).total_seconds()
            entries.append((when, "FQ103 volume", f"{second * 25:.1f}", "mL"))
        else:
            entries.append((when, tag, value, unit))
    trace = reading.read(listed(entries=entries), filename="history.csv")
    found = signal(trace, "conductivity")
    np.testing.assert_allclose(found.volume_m3[1:], SECONDS[1:] * 25e-6, rtol=1e-9)
    assert [mark.name for mark in trace.marks] == ["Load", "Wash", "Strip"]


def test_a_list_over_volume():
    lines = ["Volume (mL);variable;value"]
    for volume in range(200):
        lines += [f"{volume};Cond (mS/cm);{cond(volume * 6):.3f}", f"{volume};pH;7.0"]
    trace = reading.read("\n".join(lines).encode(), filename="tidy.csv")
    np.testing.assert_allclose(signal(trace, "conductivity").volume_m3, np.arange(200) * 1e-6)


def test_the_profile_reads_the_next_list():
    first = reading.read(listed(), filename="history.csv")
    profile = reading.Profile.from_dict(json.loads(json.dumps(first.profile.to_dict())))
    assert_is_the_run(reading.read(listed(), filename="history.csv", profile=profile))


def test_a_table_does_not_fit_the_profile_of_a_list():
    profile = reading.read(listed(), filename="history.csv").profile
    with pytest.raises(reading.UnreadableFile, match="does not fit its reading profile"):
        reading.read(b"Volume (mL);Cond (mS/cm)\n0;1,5\n1;2,5\n", filename="run.csv", profile=profile)


def refused(content: bytes) -> reading.UnreadableFile:
    with pytest.raises(reading.UnreadableFile) as caught:
        reading.read(content, filename="history.csv")
    return caught.value


def test_tags_that_say_nothing_can_be_corrected():
    entries = [(when, f"X{TAGS.index(tag)}", value, "") for when, tag, value, _ in rows() if tag != "STEP"]
    error = refused(listed("Timestamp,Tag,Value", entries=entries))
    assert error.code in ("no-flow", "no-signal")
    assert "“X0”, “X1”, “X2”" in error.what
    assert error.draft is not None


def test_no_flow_and_no_volume():
    error = refused(listed(entries=[row for row in rows() if row[1] != "FT103.PV"]))
    assert error.code == "no-flow"
    assert "no tag is a volume" in error.what


def test_all_values_bad():
    error = refused(listed(bad=frozenset(range(2000))))
    assert error.code == "all-bad"
    assert "“bad”" in error.what


def test_a_word_among_numbers_names_its_line():
    entries = rows()
    entries[100] = (entries[100][0], "CT101.PV", "12x", "mS/cm")
    error = refused(listed(entries=entries))
    assert (error.code, error.where) == ("text-in-number", "line 102")


def test_a_table_with_comments_now_and_then_is_no_list():
    said = {3: "Cond probe checked", 50: "Flow set to 90 L/h", 90: "pH adjusted"}
    lines = ["Volume (mL);Comment;Reading"] + [f"{at};{said.get(at, '')};{at / 7:.2f}" for at in range(200)]
    assert refused("\n".join(lines).encode()).code == "no-signal"


def test_a_table_with_steps_is_no_list():
    lines = ["Time (min);Phase;Flow (L/h);Cond (mS/cm)"]
    lines += [f"{at / 10};{('Load', 'Wash')[at // 100]};90;{at / 7:.2f}" for at in range(200)]
    trace = reading.read("\n".join(lines).encode(), filename="run.csv")
    assert trace.profile.kind == "text"
