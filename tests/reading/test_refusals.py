"""What can't be read is refused: what, where, and how to mend it."""

from __future__ import annotations

import base64
import dataclasses
import gzip
import io
import zipfile

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading

HEADER = [["Volume (mL)", "Cond (mS/cm)", "UV (mAU)"]]
ROWS = [[str(i), f"{i * 0.5}", f"{i * 0.25}"] for i in range(40)]


def refused(content: bytes, filename: str = "run.csv", **given) -> reading.UnreadableFile:
    with pytest.raises(reading.UnreadableFile) as caught:
        reading.read(content, filename=filename, **given)
    error = caught.value
    assert error.what.endswith((".", "…"))
    assert error.mend.endswith(".")
    assert error.where
    assert str(error) == f"{error.what} ({error.where}) {error.mend}"
    return error


def with_cell(row: int, column: int, cell: str) -> bytes:
    rows = [list(cells) for cells in ROWS]
    rows[row][column] = cell
    return skids.table(rows, header=HEADER, preamble=["Run 7"]).encode()


@pytest.mark.parametrize("content", [b"", b"\n\n\n", b"   ", b"\xef\xbb\xbf", b"\xff\xfe"])
def test_an_empty_file(content):
    assert refused(content).code == "empty"


@pytest.mark.parametrize(("row", "line"), [(0, 3), (1, 4), (20, 23), (38, 41), (39, 42)])
@pytest.mark.parametrize("cell", ["12x", "abc", "1,2.3.4", "1.2.3", "=1+1", "<0.5", "O.5", "0x1F"])
def test_text_in_a_number_names_its_line_and_column(row, line, cell):
    error = refused(with_cell(row, 2, f'"{cell}"'))
    assert error.code == "text-in-number"
    assert error.where == f"line {line}, column 3 “UV (mAU)”"
    assert f"“{cell}”" in error.what


@pytest.mark.parametrize("row", [0, 1, 20, 39])
@pytest.mark.parametrize("cell", ["12..5", "=A1", "1e999"])
def test_a_place_on_the_axis_that_is_no_number(row, cell):
    error = refused(with_cell(row, 0, cell))
    assert error.where == f"line {row + 3}, column 1 “Volume (mL)”"


@pytest.mark.parametrize("cell", ["", "NaN", "Bad"])
def test_many_rows_without_a_place_on_the_axis(cell):
    rows = [[cell if i % 4 == 1 else str(i), "1.5"] for i in range(80)]
    error = refused(skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)"]]).encode())
    assert error.where == "line 3, column 1 “Volume (mL)”"
    assert "on 20 rows" in error.what


@pytest.mark.parametrize("cell", ["NaN", "inf", "#DIV/0!"])
def test_a_signal_that_is_mostly_a_failed_calculation(cell):
    rows = [[str(i), cell if i % 3 == 1 else "1.5"] for i in range(60)]
    error = refused(skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)"]]).encode())
    assert (error.code, error.where) == ("not-finite", "column 2")
    assert "20 of 60 values of “Cond (mS/cm)”" in error.what


def test_falling_volume_names_both_values():
    error = refused(with_cell(30, 0, "12"))
    assert error.code == "falling-axis"
    assert error.where == "line 33, column 1 “Volume (mL)”"
    assert "falls from 29 to 12" in error.what


def test_volume_that_falls_within_a_step_although_steps_are_marked():
    rows = [[str(v), str(v), "Load"] for v in [*range(50), *range(50)]]
    error = refused(skids.table(rows, header=[["Volume (mL)", "Cond (mS/cm)", "Phase"]]).encode())
    assert error.code == "falling-axis"
    assert error.where.startswith("line 52")


def test_a_clock_that_goes_back():
    rows = [[f"10:{i:02d}:00" if i != 20 else "09:58:00", "2", "1"] for i in range(40)]
    error = refused(skids.table(rows, header=[["Time", "Flow (L/h)", "Cond (mS/cm)"]]).encode())
    assert error.code == "falling-axis"


def test_a_clock_that_was_set_back_is_written_as_a_time():
    rows = [[f"26.10.2031 02:{i % 30 * 2:02d}:00", "2", "1"] for i in range(60)]
    error = refused(skids.table(rows, header=[["Time", "Flow (L/h)", "Cond (mS/cm)"]]).encode())
    assert "falls from 2031-10-26 02:58:00.000 to 2031-10-26 02:00:00.000" in error.what
    assert "not set back" in error.mend


def test_a_row_of_channel_numbers_is_not_taken_for_values():
    text = "Volume,Cond,UV\nmL,mS/cm,mAU\n1,2,3\n" + "".join(f"{i / 10},{i},{i}\n" for i in range(50))
    error = refused(text.encode())
    assert error.code == "falling-axis"
    assert error.where.startswith("line 4")


@pytest.mark.parametrize("header", ["Cond (mV)", "UV [V]", "pH, mV", "Temperature (rpm)"])
def test_a_unit_of_a_quantity_that_is_not_read(header):
    error = refused(skids.table(ROWS, header=[["Volume (mL)", f'"{header}"', "UV (mAU)"]]).encode())
    assert error.code == "wrong-dimension"


def test_one_point():
    error = refused(skids.table(ROWS[:1], header=HEADER).encode())
    assert error.code == "too-few-points"


def test_a_volume_that_never_moves():
    rows = [["5.0", str(i), "1"] for i in range(20)]
    assert refused(skids.table(rows, header=HEADER).encode()).code == "still-axis"


@pytest.mark.parametrize(
    "content",
    [
        b"Dear colleague,\nthe run went well; see you.\n",
        b"a,b\nc,d\n",
        b"hello",
        b"Volume (mL),Cond (mS/cm)\n",
    ],
)
def test_no_numeric_columns(content):
    assert refused(content).code == "no-numbers"


@pytest.mark.parametrize("mark", ["^", "&", "~"])
def test_an_unknown_delimiter_is_named(mark):
    error = refused(skids.table(ROWS, header=HEADER, delimiter=mark).encode())
    assert error.code == "wrong-delimiter"
    assert f"“{mark}”" in error.what
    assert error.where == "line 2"


def test_no_header():
    assert refused(skids.table(ROWS, header=[]).encode()).code == "no-header"


def test_no_unit_on_the_axis():
    error = refused(skids.table(ROWS, header=[["Volume", "Cond (mS/cm)", "UV"]]).encode())
    assert error.code == "no-unit"
    assert "“Volume”" in error.what


@pytest.mark.parametrize(
    ("unit", "kind"),
    [("bar", "pressure"), ("mAU", "uv"), ("mL/min", "flow"), ("°C", "temperature"), ("mL", "volume")],
)
def test_a_unit_of_the_wrong_dimension(unit, kind):
    error = refused(skids.table(ROWS, header=[["Volume (mL)", f"Conductivity ({unit})", "pH"]]).encode())
    assert error.code == "wrong-dimension"
    assert f"unit of {kind}" in error.what
    assert error.where == f"column 2 “Conductivity ({unit})”"


def test_time_without_flow_and_flow_without_time():
    assert (
        refused(skids.table(ROWS, header=[["Time (min)", "Cond (mS/cm)", "UV (mAU)"]]).encode()).code
        == "no-flow"
    )
    assert (
        refused(skids.table(ROWS, header=[["Valve", "Cond (mS/cm)", "Flow (L/h)"]]).encode()).code
        == "no-axis"
    )


def test_no_signal():
    assert (
        refused(skids.table(ROWS, header=[["Volume (mL)", "Valve", "Weight (kg)"]]).encode()).code
        == "no-signal"
    )


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("Volume (mL),Cond (mS/cm)", "{0},{1},{0},{2}"),
        ("Volume (mL),Cond (mS/cm)", "{0},{0},{2}"),
        ("Volume (mL),Cond (mS/cm),pH", "{0},{1},{0},{2},7,{1}"),
        ("Time,Flow (L/h),Cond (mS/cm)", "10:{0}:{1},90,{2},{0},{2}"),
    ],
)
def test_decimal_commas_among_commas_are_named(header, row):
    lines = [row.format(10 + i // 60, 10 + i % 50, (i * 37) % 100) for i in range(50)]
    error = refused("\n".join([header, *lines]).encode())
    assert error.code == "decimal-comma"
    assert "decimal commas" in error.what
    assert "semicolons" in error.mend


def test_a_nameless_column_beside_decimal_points_is_no_decimal_comma():
    lines = [f"{i}.5,{i}.25,{i}" for i in range(50)]
    trace = reading.read("\n".join(["Volume (mL),Cond (mS/cm)", *lines]).encode(), filename="run.csv")
    assert trace.signals[0].values[1] == 1.25


def test_too_many_cells_hints_at_a_decimal_comma():
    rows = [list(row) for row in ROWS]
    rows[25] = ["25", "12", "5", "6,5"]
    error = refused(skids.table(rows, header=HEADER).encode())
    assert error.code == "too-many-cells"
    assert error.where.startswith("line 27")
    assert "decimal comma" in error.mend


def test_a_stray_line_between_the_numbers():
    text = skids.table(ROWS, header=HEADER).split("\n")
    text.insert(20, "Alarm,pump stopped")
    error = refused("\n".join(text).encode())
    assert error.where.startswith("line 21")


def test_a_quotation_mark_that_never_closes():
    assert refused(with_cell(20, 2, '"5')).where.startswith("line")


@pytest.mark.parametrize(
    ("start", "word"),
    [
        (b"%PDF-1.7\n", "PDF"), (b"\x89PNG\r\n\x1a\n", "PNG"), (b"\xff\xd8\xff\xe0", "JPEG"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "office"),
        (b"\x89HDF\r\n\x1a\n", "HDF5"), (b"\x7fELF\x02", "program"),
    ],
)  # fmt: skip
def test_files_of_other_kinds_are_named(start, word):
    error = refused(start + bytes(range(256)) * 20)
    assert error.code == "not-text"
    assert word in error.what


def test_binary_rubbish():
    rubbish = np.random.default_rng(3).integers(0, 256, 5000, dtype=np.uint8).tobytes()
    assert refused(b"\x01" + rubbish).code == "not-text"


def test_ten_thousand_columns():
    header = [["Volume (mL)", *(f"S{i} (mS/cm)" for i in range(9_999))]]
    rows = [["1.5"] * 10_000 for _ in range(5)]
    assert refused(skids.table(rows, header=header).encode()).code in ("too-many-columns", "long-line")


def test_a_million_lines_of_header():
    assert refused(b"remark,more\n" * 1_000_000).code == "no-numbers"


def test_one_endless_line():
    assert refused(b"1.5," * 500_000).code == "long-line"


def test_a_gzip_bomb_stops_at_the_limit(monkeypatch):
    monkeypatch.setattr("beadline.reading.content.LARGEST", 2**20)
    error = refused(gzip.compress(b"\x30" * 2**24), "run.csv.gz")
    assert error.code == "too-large"


def test_a_zip_bomb_stops_at_the_limit(monkeypatch):
    monkeypatch.setattr("beadline.reading.content.LARGEST", 2**20)
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("run.csv", b"1" * 2**24)
    assert refused(stream.getvalue(), "run.zip").code == "too-large"


def test_a_zip_of_several_runs_lists_them():
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w") as archive:
        archive.writestr("a.csv", "1")
        archive.writestr("b.csv", "2")
    error = refused(stream.getvalue(), "run.zip")
    assert error.code == "several-files"
    assert "“a.csv”, “b.csv”" in error.what


@pytest.mark.parametrize("pack", [gzip.compress, lambda content: skids.workbook({"Run": [["a"]]})])
def test_packed_files_cut_short(pack):
    whole = pack(skids.table(ROWS, header=HEADER).encode())
    assert refused(whole[: len(whole) // 2]).code in ("damaged", "not-text")


def test_a_workbook_names_the_cell():
    rows = [["Volume (mL)", "Cond (mS/cm)"], *([i, i * 0.5] for i in range(20))]
    rows[7][1] = "broken"
    error = refused(skids.workbook({"Cycle 4": rows}), "run.xlsx")
    assert error.where == "sheet “Cycle 4”, cell B8 “Cond (mS/cm)”"


def test_formulas_are_not_worked_out():
    rows = [["Volume (mL)", "Cond (mS/cm)"], *([i, "=A2*2" if i == 5 else i * 0.5] for i in range(20))]
    trace = reading.read(skids.workbook({"Run": rows}), filename="run.xlsx")
    assert np.isnan(trace.signals[0].values[5])  # no value was saved with the formula


def test_xml_that_is_not_animl():
    assert refused(b"<?xml version='1.0'?><html><body>1,2</body></html>").code == "not-a-table"


def test_a_billion_laughs():
    bomb = b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]><AnIML>&b;</AnIML>'
    assert refused(bomb).code == "forbidden-xml"


def test_animl_with_values_missing():
    packed = base64.b64encode(np.arange(5, dtype="<f4").tobytes()).decode()
    attributes = 'seriesID="t" seriesType="Float32" dependency="independent"'
    series = f"<Series {attributes}><EncodedValueSet>{packed}</EncodedValueSet></Series>"
    error = refused(f'<AnIML><SeriesSet length="6">{series}</SeriesSet></AnIML>'.encode())
    assert error.code == "damaged"
    assert "5 values, but its set says 6" in error.what


@pytest.mark.parametrize(("values", "extra", "code"), [
    (np.arange(5.0), {"detector_unit": b"mAU"}, "still-axis"),
    (np.arange(5.0), {"detector_unit": b"mAU", "actual_sampling_interval": 1.0}, "no-flow"),
    (np.arange(1.0), {"detector_unit": b"mAU", "actual_sampling_interval": 1.0}, "too-few-points"),
    (np.array([1.0, np.nan, 2.0]), {"detector_unit": b"mAU", "actual_sampling_interval": 1.0}, "not-finite"),
])  # fmt: skip
def test_netcdf_that_is_no_trace(values, extra, code):
    given = {} if code == "no-flow" else {"flow_m3_s": 1e-8}
    assert refused(skids.netcdf(values, **extra), "run.cdf", **given).code == code


def test_netcdf_cut_short():
    whole = skids.netcdf(np.arange(500.0), actual_sampling_interval=1.0)
    assert refused(whole[:200], "run.cdf").code in ("damaged", "no-signal")


class TestProfiles:
    profile = reading.read(
        skids.table(ROWS, header=HEADER, preamble=["Run 7"]).encode(), filename="a.csv"
    ).profile

    def mismatch(self, content: bytes) -> str:
        error = refused(content, profile=self.profile)
        assert error.code == "profile-mismatch"
        return error.what

    def test_a_preamble_of_another_length_still_fits(self):
        longer = skids.table(ROWS, header=HEADER, preamble=["Run 8", "", "More,1,2,3"])
        assert len(reading.read(longer.encode(), filename="b.csv", profile=self.profile).signals) == 2

    def test_a_renamed_column_is_named(self):
        said = self.mismatch(
            skids.table(ROWS, header=[["Volume (mL)", "Conductivity (mS/cm)", "UV (mAU)"]]).encode()
        )
        assert "olumn 2 was “Cond (mS/cm)” and is now “Conductivity (mS/cm)”" in said

    def test_a_changed_unit_is_named(self):
        assert "“UV (AU)”" in self.mismatch(
            skids.table(ROWS, header=[["Volume (mL)", "Cond (mS/cm)", "UV (AU)"]]).encode()
        )

    def test_a_new_column_is_named(self):
        rows = [[*row, "7.0"] for row in ROWS]
        assert "“pH” is new" in self.mismatch(skids.table(rows, header=[[*HEADER[0], "pH"]]).encode())

    def test_a_missing_column_is_named(self):
        said = self.mismatch(skids.table([row[:2] for row in ROWS], header=[HEADER[0][:2]]).encode())
        assert "“UV (mAU)” is missing" in said

    def test_another_order_is_said(self):
        assert "another order" in self.mismatch(
            skids.table(ROWS, header=[[HEADER[0][0], HEADER[0][2], HEADER[0][1]]]).encode()
        )

    def test_another_delimiter_is_said(self):
        said = self.mismatch(skids.table(ROWS, header=HEADER, delimiter=";").encode())
        assert "expects comma between cells, but the file has semicolon" in said

    def test_a_refused_file_hands_back_a_draft_that_can_be_mended(self):
        content = skids.table(ROWS, header=[["Volume", "Cond (mS/cm)", "UV"]]).encode()
        draft = refused(content).draft
        mended = dataclasses.replace(
            draft, columns=(dataclasses.replace(draft.columns[0], unit="L"), *draft.columns[1:])
        )
        trace = reading.read(content, filename="run.csv", profile=mended)
        assert trace.signals[0].volume_m3[-1] == pytest.approx(0.039)

    @pytest.mark.parametrize(
        "change",
        [
            {"delimiter": "xx"},
            {"encoding": "klingon"},
            {"axis": "moon"},
            {"decimal": ";"},
            {"version": 99},
            {"columns": ()},
        ],
    )
    def test_a_profile_that_nothing_could_be_read_by(self, change):
        with pytest.raises(reading.UnreadableFile, match="profile can't be understood"):
            dataclasses.replace(self.profile, **change)

    def test_a_profile_of_a_column_that_does_not_exist(self):
        column = dataclasses.replace(self.profile.columns[1], index=7)
        with pytest.raises(reading.UnreadableFile, match="beyond the 4 of its header"):
            dataclasses.replace(self.profile, columns=(*self.profile.columns, column))

    def test_a_profile_with_an_unknown_or_wrong_unit_is_refused(self):
        content = skids.table(ROWS, header=HEADER).encode()
        for unit, code in (("furlong", "unknown-unit"), ("bar", "wrong-dimension")):
            column = dataclasses.replace(self.profile.columns[1], unit=unit)
            profile = dataclasses.replace(
                self.profile, columns=(self.profile.columns[0], column, self.profile.columns[2])
            )
            assert refused(content, profile=profile).code in (code, "wrong-dimension")

    def test_another_kind_of_file_is_said(self):
        assert "a workbook" in self.mismatch(
            skids.workbook({"Run": [["Volume (mL)", "Cond (mS/cm)"], [1, 2], [2, 3]]})
        )

    @pytest.mark.parametrize(
        "broken", [{}, {"kind": "text"}, {"columns": [{"index": 0}]}, {"columns": 5}, {"surprise": 1}]
    )
    def test_a_broken_profile(self, broken):
        plain = {} if broken == {} else {**self.profile.to_dict(), **broken}
        if broken == {"kind": "text"}:
            plain.pop("axis")
        with pytest.raises(reading.UnreadableFile, match="profile can't be understood"):
            reading.Profile.from_dict(plain)
