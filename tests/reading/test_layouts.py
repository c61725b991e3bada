"""One run, written by five skids, is read the same from all of them."""

from __future__ import annotations

import gzip
import io
import json
import zipfile

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading

RUN = skids.a_run()


@pytest.fixture(params=skids.LAYOUTS)
def layout(request):
    return request.param, skids.LAYOUTS[request.param](RUN)


def signal(trace, quantity):
    return next(one for one in trace.signals if one.quantity == quantity)


def test_signals_and_units_are_recognised(layout):
    filename, content = layout
    trace = reading.read(content, filename=filename)
    cond = signal(trace, "conductivity")
    np.testing.assert_allclose(cond.volume_m3, RUN.volume_ml * 1e-6, rtol=1e-4, atol=1e-10)
    np.testing.assert_allclose(cond.values, RUN.cond, rtol=1e-6)
    np.testing.assert_allclose(signal(trace, "uv").values, RUN.uv, atol=1e-3)
    np.testing.assert_allclose(signal(trace, "pressure").values, 1.8e5, rtol=1e-6)
    np.testing.assert_allclose(signal(trace, "temperature").values, 294.65)


def test_steps_are_found_where_they_start(layout):
    filename, content = layout
    trace = reading.read(content, filename=filename)
    assert [mark.name for mark in trace.marks] == ["Load", "Wash", "Strip"]
    starts = [RUN.volume_ml[RUN.phase.index(name)] * 1e-6 for name in ("Load", "Wash", "Strip")]
    np.testing.assert_allclose([mark.volume_m3 for mark in trace.marks], starts, rtol=1e-4, atol=1e-9)


def test_every_note_is_a_sentence(layout):
    filename, content = layout
    notes = reading.read(content, filename=filename).notes
    assert len(notes) >= 5
    assert all(note[0].isupper() or note[0] in "“0123456789" for note in notes)
    assert all(note.endswith(".") for note in notes)


def test_the_profile_reads_the_same_arrays_again(layout):
    filename, content = layout
    first = reading.read(content, filename=filename)
    profile = reading.Profile.from_dict(json.loads(json.dumps(first.profile.to_dict())))
    again = reading.read(content, filename=filename, profile=profile)
    assert profile == first.profile
    assert again.marks == first.marks
    for one, other in zip(first.signals, again.signals, strict=True):
        assert (one.name, one.quantity, one.unit, one.role) == (
            other.name,
            other.quantity,
            other.unit,
            other.role,
        )
        np.testing.assert_array_equal(one.values, other.values)
        np.testing.assert_array_equal(one.volume_m3, other.volume_m3)


def test_packed_files_are_read_like_plain_ones(layout):
    filename, content = layout
    plain = reading.read(content, filename=filename)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(f"run/{filename}", content)
    for packed, name in ((gzip.compress(content), filename + ".gz"), (stream.getvalue(), "run.zip")):
        trace = reading.read(packed, filename=name)
        assert trace.marks == plain.marks
        np.testing.assert_array_equal(trace.signals[0].values, plain.signals[0].values)


def test_a_lying_extension_does_not_matter(layout):
    _, content = layout
    assert reading.read(content, filename="picture.png").marks


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "cp850"]
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings_and_line_ends(encoding, end):
    rows = [[str(i), str(i * 0.5), str(20 + i * 0.1)] for i in range(60)]
    text = skids.table(rows, header=[["Volume [mL]", "Cond [µS/cm]", "Temp [°C]"]], end=end)
    trace = reading.read(text.encode(encoding), filename="run.csv")
    np.testing.assert_allclose(signal(trace, "conductivity").values, np.arange(60) * 0.5e-3, rtol=1e-12)
    assert signal(trace, "temperature").values[0] == 293.15


@pytest.mark.parametrize(
    ("delimiter", "decimal", "thousands"),
    [
        (",", ".", ""), (";", ".", ""), ("\t", ".", ""), ("|", ".", ""), ("   ", ".", ""),
        (";", ",", ""), ("\t", ",", ""),
        ("|", ",", ""), (";", ",", "."), ("\t", ",", "."), (";", ".", ","), ("\t", ".", ","), (";", ",", " "),
        (";", ",", "\u00a0"), (";", ",", "\u202f"), (";", ".", "'"), ("\t", ".", " "),
    ],
)  # fmt: skip
@pytest.mark.parametrize("digits", [1, 2, 3])
def test_delimiters_decimal_marks_and_thousands(delimiter, decimal, thousands, digits):
    volume, cond = np.arange(0.0, 4000.0, 10.5).round(digits), (np.arange(381) * 12.75).round(digits)
    rows = [
        [skids.number(v, decimal, digits, thousands), skids.number(c, decimal, digits, thousands)]
        for v, c in zip(volume, cond, strict=True)
    ]
    text = skids.table(rows, header=[["Volume(mL)", "Cond(µS/cm)"]], delimiter=delimiter)
    trace = reading.read(text.encode(), filename="run.txt")
    np.testing.assert_allclose(trace.signals[0].volume_m3, volume * 1e-6, rtol=1e-9, atol=1e-15)
    np.testing.assert_allclose(trace.signals[0].values, cond * 1e-3, rtol=1e-9)


def test_quoted_cells_with_a_decimal_comma_between_commas():
    rows = [[f'"{i},5"', f'"{i * 2},25"', '"Wash, first"'] for i in range(30)]
    text = skids.table(rows, header=[['"Volume (mL)"', '"Cond, mS/cm"', "Phase"]])
    trace = reading.read(text.encode(), filename="run.csv")
    np.testing.assert_allclose(trace.signals[0].values, np.arange(30) * 2 + 0.25)
    assert trace.marks[0].name == "Wash, first"


def test_whole_numbers_at_the_top_do_not_hide_the_decimal_comma_below():
    rows = [[str(i), "0"] for i in range(700)] + [[f"{700 + i},5", f"{i},25"] for i in range(700)]
    trace = reading.read(
        skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)"]], delimiter=";").encode(), filename="a"
    )
    assert trace.signals[0].values[-1] == 699.25


@pytest.mark.parametrize("lines", [0, 1, 7, 50, 400, 1500])
def test_preambles_of_any_length(lines):
    preamble = [f"Setting {i};value {i}" if i % 3 else "" for i in range(lines)]
    rows = [[str(i), str(i * 2)] for i in range(40)]
    text = skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)"]], preamble=preamble, delimiter=";")
    assert len(reading.read(text.encode(), filename="run.csv").signals[0].values) == 40


@pytest.mark.parametrize(
    "header",
    [
        [["Volume (mL)", "Conductivity (mS/cm)"]],
        [["Volume [ml]", "Cond [mS/cm]"]],
        [["Volume, mL", "Cond, mS/cm"]],
        [["Volume/mL", "Cond/mS/cm"]],
        [["volume_ml", "cond_ms_cm"]],
        [["volume_mL", "conductivity_mS_per_cm"]],
        [["Volume mL", "Cond mS/cm"]],
        [["mL", "mS/cm"]],
        [["Volume", "Cond"], ["mL", "mS/cm"]],
        [["Volume", "Cond"], ["(mL)", "[mS/cm]"]],
        [["mL", "mS/cm"], ["Volume", "Cond"]],
        [["Volumen (mL)", "Leitfähigkeit (mS/cm)"]],
        [["Volume (mL)", "Conductivité (mS/cm)"]],
        [["Volumen (ml)", "Conductividad (mS/cm)"]],
    ],
)
def test_headers_carry_units_in_many_ways(header):
    rows = [[str(i), str(i * 2 + 0.5)] for i in range(40)]
    text = skids.table(rows, header=[[f'"{cell}"' for cell in row] for row in header])
    trace = reading.read(text.encode(), filename="run.csv")
    assert [one.quantity for one in trace.signals] == ["conductivity"]
    assert trace.signals[0].volume_m3[-1] == pytest.approx(39e-6)
    assert trace.signals[0].unit == "mS/cm"


def test_roles_of_pressures():
    header = [
        "Volume (L)",
        "Pre-column pressure (bar)",
        "Post-column pressure (bar)",
        "Delta P (bar)",
        "System pressure (bar)",
    ]
    rows = [[str(i / 10), "3.0", "1.0", "2.0", "3.5"] for i in range(20)]
    trace = reading.read(skids.table(rows, header=[header]).encode(), filename="run.csv")
    assert [one.role for one in trace.signals] == ["pre", "post", "delta", ""]
    assert trace.signals[2].values[0] == pytest.approx(2e5)


def test_a_repeated_header_is_passed_over_and_said():
    header = [["Volume (mL)", "Cond (mS/cm)"]]
    rows = [[str(i), str(i)] for i in range(20)]
    text = (
        skids.table(rows, header=header)
        + "\n"
        + skids.table([[str(i), str(i)] for i in range(20, 40)], header=header)
    )
    trace = reading.read(text.encode(), filename="run.csv")
    assert len(trace.signals[0].values) == 40
    assert any("header came again" in note for note in trace.notes)


def test_volume_that_starts_anew_with_each_step_is_joined():
    rows = [[str(v), str(v), name] for name in ("Load", "Wash", "Strip") for v in range(50)]
    text = skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)", "Phase"]])
    trace = reading.read(text.encode(), filename="run.csv")
    assert trace.signals[0].volume_m3[-1] == pytest.approx(147e-6)
    assert [mark.volume_m3 for mark in trace.marks] == pytest.approx([0, 49e-6, 98e-6])
    assert any("joined" in note for note in trace.notes)


def test_headings_between_tables_of_steps_are_marks():
    blocks = []
    for number, name in enumerate(("Equilibration", "Load", "Wash")):
        rows = [[str(50 * number + v), str(v)] for v in range(50)]
        blocks.append(f"Phase: {name}\n" + skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)"]]))
    trace = reading.read("\n".join(blocks).encode(), filename="run.csv")
    assert [mark.name for mark in trace.marks][-2:] == ["Phase: Load", "Phase: Wash"]
    assert trace.signals[0].volume_m3[-1] == pytest.approx(149e-6)


def test_gaps_are_kept_and_said():
    rows = [[str(i), "Bad" if i == 5 else "" if i in (7, 8) else "1.5", "2.5"] for i in range(30)]
    trace = reading.read(
        skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)", "UV (mAU)"]]).encode(), filename="a"
    )
    assert np.flatnonzero(np.isnan(trace.signals[0].values)).tolist() == [5, 7, 8]
    assert any("1 cell of “Cond (mS/cm)” with a word" in note for note in trace.notes)
    assert any("2 empty cells of “Cond (mS/cm)”" in note for note in trace.notes)


def test_rows_of_a_bad_quality_are_gaps():
    rows = [[str(i), "1.5", "Bad" if i == 4 else "Good"] for i in range(30)]
    trace = reading.read(
        skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)", "Quality"]]).encode(), filename="a"
    )
    assert np.flatnonzero(np.isnan(trace.signals[0].values)).tolist() == [4]


def test_repeated_volumes_are_averaged():
    rows = [["0", "1"], ["1", "2"], ["1", "4"], ["1", ""], ["2", "5"]]
    trace = reading.read(
        skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)"]]).encode(), filename="run.csv"
    )
    assert trace.signals[0].values.tolist() == [1.0, 3.0, 5.0]


def test_pairs_of_different_length_keep_their_own_volumes():
    rows = [[str(i), str(i * 2), str(i * 3) if i < 10 else "", str(i) if i < 10 else ""] for i in range(30)]
    header = [["UV volume (mL)", "UV (mAU)", "Cond volume (mL)", "Cond (mS/cm)"]]
    trace = reading.read(skids.table(rows, header=header).encode(), filename="run.csv")
    assert [len(one.values) for one in trace.signals] == [30, 10]
    assert trace.signals[1].volume_m3[-1] == pytest.approx(27e-6)


def test_linear_velocity_needs_the_columns_cross_section():
    rows = [[str(i), "100", str(i)] for i in range(61)]
    text = skids.table(rows, header=[["Time (min)", "Flow (cm/h)", "Cond (mS/cm)"]]).encode()
    trace = reading.read(text, filename="run.csv", column_area_m2=0.01)
    assert trace.signals[0].volume_m3[-1] == pytest.approx(1.0 * 0.01)  # 1 m/h for an hour through 0.01 m2
    with pytest.raises(reading.UnreadableFile, match="diameter"):
        reading.read(text, filename="run.csv")


def test_column_volumes_need_the_bed_volume():
    text = skids.table([[str(i / 10), str(i)] for i in range(30)], header=[["CV", "Cond (mS/cm)"]]).encode()
    trace = reading.read(text, filename="run.csv", bed_volume_m3=2e-3)
    assert trace.signals[0].volume_m3[-1] == pytest.approx(5.8e-3)
    with pytest.raises(reading.UnreadableFile, match="bed volume is not known"):
        reading.read(text, filename="run.csv")


@pytest.mark.parametrize(
    "line", ["Flow rate;2.0 mL/min", "Flow (mL/min);2.0", "Flow: 2.0 mL/min", "Flow;2.0;mL/min"]
)
def test_a_constant_flow_above_the_numbers_is_used(line):
    rows = [[str(i), str(i)] for i in range(31)]
    text = skids.table(
        rows, header=[["Time (min)", "Cond (mS/cm)"]], preamble=[line, ""], delimiter=";"
    ).encode()
    trace = reading.read(text, filename="run.csv")
    assert trace.signals[0].volume_m3[-1] == pytest.approx(60e-6)


@pytest.mark.parametrize(
    ("header", "cells"),
    [
        ("Time (s)", lambda s: str(s)),
        ("Time (h)", lambda s: f"{s / 3600:.8f}"),
        ("Time", lambda s: f"{s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"),
        ("Time (mm:ss)", lambda s: f"{s // 60:02d}:{s % 60:02d}"),
        ("Timestamp", lambda s: f"2031-11-03T{10 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}Z"),
        ("Timestamp", lambda s: f"2031-11-03 {10 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}.5"),
        ("Date/Time", lambda s: f"11/13/2031 {1 + s // 3600}:{s // 60 % 60:02d}:{s % 60:02d} PM"),
        ("Date", lambda s: f"3-Nov-2031 {10 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"),
        ("Date;Time", lambda s: f"03.11.2031;{10 + s // 3600:02d}:{s // 60 % 60:02d}:{s % 60:02d}"),
        ("Date and time", lambda s: f"{48000 + s / 86400:.10f}"),
    ],
)
def test_ways_to_write_time(header, cells):
    rows = [[cells(s), "6.0", str(s)] for s in range(0, 3600, 10)]
    text = skids.table(rows, header=[[header, "Flow (L/h)", "Cond (mS/cm)"]], delimiter=";").encode()
    trace = reading.read(text, filename="run.csv")
    assert trace.time_s[-1] == pytest.approx(3590, abs=1e-3)
    assert trace.volume_m3[-1] == pytest.approx(6e-3 * 3590 / 3600, rel=1e-6)


def test_flow_that_changes_is_integrated_by_trapezoids():
    rows = [[str(i), str(2 * i), "1"] for i in range(11)]
    text = skids.table(rows, header=[["Time (min)", "Flow (mL/min)", "Cond (mS/cm)"]]).encode()
    trace = reading.read(text, filename="run.csv")
    assert trace.volume_m3[-1] == pytest.approx(100e-6)  # integral of 2 t from 0 to 10


def test_a_log_above_the_numbers_gives_marks():
    log = ["Events", "Volume (mL);Event", "0;Load", "10;Wash", ""]
    rows = [[str(i), str(i)] for i in range(40)]
    text = skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)"]], preamble=log, delimiter=";")
    trace = reading.read(text.encode(), filename="run.csv")
    assert [(mark.name, mark.volume_m3) for mark in trace.marks] == [
        ("Load", 0.0),
        ("Wash", pytest.approx(10e-6)),
    ]


def test_a_table_of_settings_above_the_numbers_is_neither_data_nor_marks():
    settings = ["Step;Volume (mL);Flow (mL/min)", "Load;50;5", "2;100;5", "3;20;2", ""]
    rows = [[str(i), str(i), "1"] for i in range(40)]
    text = skids.table(
        rows, header=[["Volume (mL)", "Cond (mS/cm)", "UV (mAU)"]], preamble=settings, delimiter=";"
    )
    trace = reading.read(text.encode(), filename="run.csv")
    assert trace.marks == ()
    assert len(trace.signals[0].values) == 40


@pytest.mark.parametrize("delimiter", ["   ", " "])
def test_columns_set_apart_by_blanks(delimiter):
    rows = [[str(i), f"{i * 0.5:.2f}"] for i in range(40)]
    text = skids.table(rows, header=[["vol_ml", "cond_ms_cm"]], delimiter=delimiter)
    assert reading.read(text.encode(), filename="run.txt").signals[0].values[-1] == 19.5


def test_a_header_of_units_alone_names_the_signals():
    text = skids.table([[str(i), str(i)] for i in range(20)], header=[["mL", "mS/cm"]])
    assert reading.read(text.encode(), filename="run.csv").signals[0].name == "mS/cm"


def test_switches_and_set_points_are_no_marks_and_no_flow():
    header = ["Time (min)", "Flow setpoint (mL/min)", "Flow (mL/min)", "Cond (mS/cm)", "Pump on"]
    rows = [[str(i), "5", "4", "1", "Yes"] for i in range(20)]
    trace = reading.read(skids.table(rows, header=[header]).encode(), filename="run.csv")
    assert trace.marks == ()
    assert [signal.quantity for signal in trace.signals] == ["other", "flow", "conductivity"]
    assert trace.volume_m3[-1] == pytest.approx(19 * 4e-6)


def test_a_volume_of_the_step_is_not_the_axis_if_one_of_the_run_is_there():
    rows = [["Load" if i < 20 else "Wash", str(i % 20), str(i), "1"] for i in range(40)]
    header = [["Phase", "Phase volume (mL)", "Run volume (mL)", "Cond (mS/cm)"]]
    trace = reading.read(skids.table(rows, header=header).encode(), filename="run.csv")
    assert trace.signals[-1].volume_m3[-1] == pytest.approx(39e-6)
    assert any("another column serves better" in note for note in trace.notes)
