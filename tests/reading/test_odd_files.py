"""Odd but plausible files of an invented plant: each was once misread without a word, or refused in vain."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pytest
from tests.reading import skids

from beadline import reading

RUN = skids.a_run(240)
STARTS = [(0.0, "Load"), (200.0, "Wash"), (400.0, "Strip")]
NAMED = ["Volume (mL)", "Cond (mS/cm)", "UV (mAU)"]


def columns(*cells, header=NAMED, delimiter=",", after=(), preamble=()):
    """Write rows of which each cell is given by a function of the row's number."""
    rows = [[cell(row) for cell in cells] for row in range(len(RUN.volume_ml))]
    text = skids.table(rows, header=[header], delimiter=delimiter, after=after, preamble=preamble)
    return text.encode()


def volume(row):
    return skids.number(RUN.volume_ml[row], digits=3)


def cond(row):
    return skids.number(RUN.cond[row])


def uv(row):
    return skids.number(RUN.uv[row], digits=2)


def minutes(row):
    return skids.number(RUN.time_min[row], digits=5)


def flow(_row):
    return "5.0"


def read(content, filename="run.csv", **given):
    return reading.read(content, filename=filename, **given)


def assert_is_the_run(trace, *, atol_ml=1.5):
    found = reading.signal_of(trace, "conductivity")
    known = np.isfinite(found.values)
    middles = [one.volume_m3 * 1e6 for one in reading.detect_steps(trace, width_m3=15e-6)]
    np.testing.assert_allclose(middles, [250, 450], atol=2 + atol_ml)
    np.testing.assert_allclose(found.volume_m3[known][[0, -1]] * 1e6, [0, 600], atol=atol_ml)
    np.testing.assert_allclose(found.values[known][[0, -1]], RUN.cond[[0, -1]], rtol=1e-3)


def assert_marks(trace, *, atol_ml=4.0):
    assert [mark.name for mark in trace.marks] == [name for _, name in STARTS]
    np.testing.assert_allclose([mark.volume_m3 * 1e6 for mark in trace.marks], [0, 200, 400], atol=atol_ml)


def refused(content, code, filename="run.csv"):
    with pytest.raises(reading.UnreadableFile) as caught:
        read(content, filename)
    assert caught.value.code == code
    return caught.value


class TestWords:
    @pytest.mark.parametrize("encoding", ["utf-8", "shift_jis", "cp932"])
    def test_japanese_headers(self, encoding):
        header = ["時間(分)", "流量(mL/min)", "カラム出口電気伝導度(mS/cm)", "カラム入口電気伝導度(mS/cm)"]
        text = columns(minutes, flow, cond, lambda row: "5.0", header=header).decode()
        trace = read(text.encode(encoding))
        assert_is_the_run(trace)
        assert reading.signal_of(trace, "conductivity").role == "post"

    @pytest.mark.parametrize(
        "header",
        [
            ["Zeit in min", "Volumenstrom in mL/min", "Leitf. in mS/cm", "Extinktion [mAE]"],
            ["Tempo (min)", "Portata (mL/min)", "Conducibilità (mS/cm)", "Assorbanza (mAU)"],
            ["Temps (min)", "Débit (mL/min)", "Conductivité (mS/cm)", "DO 280 (mUA)"],
        ],
    )
    def test_headers_of_other_tongues(self, header):
        trace = read(columns(minutes, flow, cond, uv, header=header, delimiter=";"))
        assert_is_the_run(trace)
        assert reading.signal_of(trace, "uv").unit == "mAU"

    def test_a_number_without_dimension_is_no_absorbance(self):
        header = ["Volume (mL)", "Turbidity (ppm)", "Valve (°)", "Cond (mS/cm)"]
        trace = read(columns(volume, flow, flow, cond, header=header))
        assert reading.signal_of(trace, "uv") is None

    def test_raw_counts_give_way_to_the_column_with_a_unit(self):
        header = ["Volume (mL)", "UV counts", "UV 280 (mAU)", "Cond (mS/cm)"]
        trace = read(columns(volume, flow, uv, cond, header=header))
        assert reading.signal_of(trace, "uv").name == "UV 280 (mAU)"

    @pytest.mark.parametrize(("unit", "factor"), [("mS", 1), ("µS", 1000), ("", 1000)])
    def test_conductivity_without_its_whole_unit(self, unit, factor):
        header = ["Volume (mL)", f"Cond ({unit})" if unit else "Cond", "UV (mAU)"]
        trace = read(columns(volume, lambda row: f"{RUN.cond[row] * factor:.2f}", uv, header=header))
        assert_is_the_run(trace)


class TestNumbers:
    def test_points_that_group_thousands_without_any_comma(self):
        def grouped(value):
            return f"{value:,.0f}".replace(",", ".")

        content = columns(
            lambda row: grouped(RUN.volume_ml[row] * 10),
            lambda row: grouped(RUN.cond[row] * 1000),
            lambda row: grouped(RUN.uv[row]),
            header=["Volumen (dL)", "Leitf. (µS/cm)", "UV (mAU)"],
            delimiter=";",
        )
        trace = read(content)
        assert reading.signal_of(trace, "uv").values.max() == pytest.approx(RUN.uv.max(), abs=1)

    def test_a_number_that_stands_for_no_value(self):
        trace = read(columns(volume, lambda row: "-9999" if row % 50 == 7 else cond(row), uv))
        assert_is_the_run(trace)
        assert np.isnan(reading.signal_of(trace, "conductivity").values).sum() == 5
        assert any("-9999" in note for note in trace.notes)

    def test_words_in_most_columns(self):
        header = ["Volume (mL)", "Cond (mS/cm)", "Status", "Pump", "Valve", "Door", "Phase"]
        words = [
            lambda _: "Good",
            lambda _: "ON",
            lambda _: "OPEN",
            lambda _: "V1",
            lambda row: RUN.phase[row],
        ]
        assert_marks(read(columns(volume, cond, *words, header=header)))


class TestBlanks:
    def widths(self, row, missing):
        cells = (volume(row), cond(row), "" if row % 7 == 3 else uv(row), "21.5")
        line = "".join(cell.rjust(14) for cell in cells)
        return line if missing == "aligned" else " ".join(line.split())

    def text(self, missing):
        lines = ["Volume_mL Cond_mS/cm UV_mAU Temp_C".replace(" ", "   ")]
        lines += [self.widths(row, missing) for row in range(len(RUN.volume_ml))]
        return "\n".join(lines).encode()

    def test_a_missing_cell_is_found_by_where_the_others_stand(self):
        trace = read(self.text("aligned"))
        found = reading.signal_of(trace, "uv").values
        assert np.isnan(found[3::7]).all()
        np.testing.assert_allclose(np.delete(found, np.s_[3::7]), np.delete(RUN.uv, np.s_[3::7]), atol=0.01)

    def test_a_missing_cell_that_could_be_any_is_refused_by_its_line(self):
        assert refused(self.text("ragged"), "missing-cell").where == "line 5"


class TestAxes:
    def test_a_totaliser_is_counted_from_the_start_of_the_trace(self):
        after = ["", "Event log", "Totaliser (mL),Event", *(f"{48000 + v},{name}" for v, name in STARTS)]
        header = ["Totaliser (mL)", *NAMED[1:]]
        total = columns(lambda row: f"{48000 + RUN.volume_ml[row]:.2f}", cond, uv, header=header, after=after)
        trace = read(total)
        assert_is_the_run(trace)
        assert_marks(trace)

    def test_pairs_whose_volumes_have_different_units(self):
        header = ["Volume (mL)", "Cond (mS/cm)", "Volume (L)", "UV (mAU)", "Volume (L)", "Step"]

        def event(place):
            return lambda row: str((STARTS[row][0] / 1000, STARTS[row][1])[place]) if row < 3 else ""

        litres = [lambda row: f"{RUN.volume_ml[row] / 1000:.6f}", uv, event(0), event(1)]
        trace = read(columns(volume, cond, *litres, header=header, delimiter=";"))
        assert_is_the_run(trace)
        assert_marks(trace, atol_ml=0.1)

    @pytest.mark.parametrize("axis", ["volume", "time"])
    def test_a_short_list_of_events_beside_the_table(self, axis):
        first, unit = ("Volume", "mL") if axis == "volume" else ("Time", "min")
        header = [
            f"{first} ({unit})",
            "Flow (mL/min)",
            "Cond (mS/cm)",
            "",
            f"Event {first} ({unit})",
            "Event",
        ]
        scale = 1 if axis == "volume" else skids.FLOW_ML_MIN
        events = [
            lambda row: str(STARTS[row][0] / scale) if row < 3 else "",
            lambda row: STARTS[row][1] if row < 3 else "",
        ]
        place = volume if axis == "volume" else minutes
        trace = read(columns(place, flow, cond, lambda _: "", *events, header=header))
        assert_is_the_run(trace)
        assert_marks(trace, atol_ml=0.1)

    def test_minutes_and_seconds_that_might_be_hours_and_minutes(self):
        def clock(row):
            seconds = round(RUN.time_min[row] * 60)
            return f"{seconds // 60:02d}:{seconds % 60:02d}"

        cells = (clock, flow, cond)
        refused(columns(*cells, header=["Elapsed", "Flow (mL/min)", "Cond (mS/cm)"]), "unclear-clock")
        assert_is_the_run(
            read(columns(*cells, header=["Elapsed (mm:ss)", "Flow (mL/min)", "Cond (mS/cm)"])), atol_ml=3
        )

    def test_a_clock_of_minutes_for_many_rows_a_minute(self):
        def stamp(row):
            return f"2031-03-14 {8 + int(RUN.time_min[row]) // 60:02d}:{int(RUN.time_min[row]) % 60:02d}"

        content = columns(stamp, flow, cond, header=["Timestamp", "Flow (mL/min)", "Cond (mS/cm)"])
        trace = read(content)
        assert_is_the_run(trace, atol_ml=6)
        assert len(reading.signal_of(trace, "conductivity").values) == len(RUN.volume_ml)

    def test_a_flow_that_is_written_when_it_changes(self):
        def rate(row):
            return {0: "5.0", 100: "10.0"}.get(row, "")

        trace = read(columns(minutes, rate, cond, header=["Time (min)", "Flow (mL/min)", "Cond (mS/cm)"]))
        passed = RUN.volume_ml[100] + 2 * (600 - RUN.volume_ml[100])
        assert trace.volume_m3[-1] * 1e6 == pytest.approx(passed, abs=10)

    def test_several_flows_are_refused_unless_one_is_named_after_the_column(self):
        header = ["Time (min)", "Pump A flow (mL/min)", "Pump B flow (mL/min)", "Cond (mS/cm)"]
        cells = (minutes, lambda _: "1.0", flow, cond)
        assert refused(columns(*cells, header=header), "several-flows").draft is not None
        header[2] = "Column flow (mL/min)"
        assert_is_the_run(read(columns(*cells, header=header)))

    def test_a_volume_that_stands_still_is_of_one_step(self):
        header = ["Volume loaded (mL)", *NAMED]
        loaded = columns(
            lambda row: skids.number(min(max(RUN.volume_ml[row] - 100, 0), 50)),
            volume,
            cond,
            uv,
            header=header,
        )
        assert_is_the_run(read(loaded))


class TestProbes:
    def test_the_probe_behind_the_column_is_the_one_that_sees_fronts_later(self):
        def before(row):
            return "12" if RUN.volume_ml[row] < 200 else "2" if RUN.volume_ml[row] < 400 else "72"

        trace = read(columns(volume, before, cond, header=["Volume (mL)", "C1 (mS/cm)", "C2 (mS/cm)"]))
        assert {one.name: one.role for one in trace.signals} == {"C1 (mS/cm)": "pre", "C2 (mS/cm)": "post"}
        assert_is_the_run(trace)

    def test_a_probe_of_something_else_shows_no_step(self):
        header = ["Volume (mL)", "Skid A cond (mS/cm)", "Skid B cond (mS/cm)"]
        assert_is_the_run(read(columns(volume, lambda _: "3.3", cond, header=header)))

    def test_nothing_tells_two_probes_apart(self):
        trace = read(columns(volume, cond, cond, header=["Volume (mL)", "C1 (mS/cm)", "C2 (mS/cm)"]))
        assert any("nothing tells which is behind the column" in note for note in trace.notes)


class TestLogs:
    def test_a_log_with_users_is_named_by_its_messages(self):
        after = ["", "Log", "Volume (mL),User,Message", *(f"{v},op1,{name}" for v, name in STARTS)]
        assert_marks(read(columns(volume, cond, uv, after=after)), atol_ml=0.1)

    @pytest.mark.parametrize(
        "after",
        [
            ["", "Total volume (mL),600.0", "Average cond (mS/cm),21.3"],
            ["Min,1.9,0.0", "Max,72.0,1500.0", "Mean,22.0,98.1"],
            ["Mean,22.0,98.1", "End of report"],
        ],
    )
    def test_totals_below_the_numbers_are_no_steps(self, after):
        trace = read(columns(volume, cond, uv, after=after))
        assert_is_the_run(trace)
        assert not trace.marks

    def test_numbers_of_pages_are_no_steps(self):
        lines = columns(volume, cond, uv).decode().splitlines()
        content = "\n".join([*lines[:100], "Page 2", lines[0], *lines[100:]]).encode()
        assert not read(content).marks

    def test_the_name_above_the_first_of_many_tables(self):
        lines = columns(volume, cond, uv).decode().splitlines()
        parts = [["Load", *lines[:80]], ["Wash", lines[0], *lines[80:160]], ["Strip", lines[0], *lines[160:]]]
        trace = read("\n".join(line for part in parts for line in part).encode())
        assert [mark.name for mark in trace.marks] == ["Load", "Wash", "Strip"]


class TestSeveralInOne:
    def rows(self):
        return [[*NAMED[:2]], *([v, c] for v, c in zip(RUN.volume_ml, RUN.cond, strict=True))]

    def test_two_runs_in_a_workbook_are_refused(self):
        content = skids.workbook({"Run 1": self.rows(), "Run 2": self.rows()})
        error = refused(content, "several-runs", "runs.xlsx")
        assert error.draft.sheet == "Run 1"
        assert_is_the_run(read(content, "runs.xlsx", profile=error.draft))

    def test_a_log_of_events_in_another_sheet(self):
        events = [["Volume (mL)", "Event"], *([v, name] for v, name in STARTS)]
        trace = read(skids.workbook({"Data": self.rows(), "Events": events}), "run.xlsx")
        assert_marks(trace, atol_ml=0.1)
        again = read(
            skids.workbook({"Data": self.rows(), "Events": events}), "run.xlsx", profile=trace.profile
        )
        assert_marks(again, atol_ml=0.1)

    def test_a_read_me_beside_the_run_in_a_zip(self):
        stream = io.BytesIO()
        with zipfile.ZipFile(stream, "w") as archive:
            archive.writestr("README.txt", "Exported by the skid.")
            archive.writestr("run.csv", columns(volume, cond, uv))
        assert_is_the_run(read(stream.getvalue(), "run.zip"))
