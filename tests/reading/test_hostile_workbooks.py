"""Workbooks that lie about their size are refused in bounded time, whatever their parts claim."""

from __future__ import annotations

import io
import time
import zipfile

import pytest
from tests.reading import skids

from beadline import reading

SHEET = "xl/worksheets/sheet1.xml"
START = b"<worksheet xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'><sheetData>"
END = b"</sheetData></worksheet>"
LAUGHS = (
    b'<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "haha">'
    + b"".join(b'<!ENTITY %c "%s">' % (98 + n, b"&%c;" % (97 + n) * 20) for n in range(8))
    + b"]><worksheet><sheetData><row><c t='inlineStr'><is><t>&i;</t></is></c></row></sheetData></worksheet>"
)
ONE = b"<row><c r='A1'><v>1</v></c></row>"
FAR_BELOW = ONE + b"<row r='1000000000'><c><v>1</v></c></row>"
WIDE = b"<row><c r='A1'><v>1</v></c><c r='ZZZ1'/></row>" * 3000
PARTS = {
    "a row a thousand million below": (START + FAR_BELOW + END, "no-numbers"),
    "rows that are as wide as can be": (START + WIDE + END, "too-large"),
    "a column that can't be": (START + b"<row><c r='ZZZZ1'><v>1</v></c></row>" + END, "damaged"),
    "a billion laughs": (LAUGHS, "damaged"),
    "no XML": (b"1,2,3", "damaged"),
}
RUN = [["Volume (mL)", "Cond (mS/cm)"], *([float(i), i * 0.5] for i in range(40))]


def with_sheet(part: bytes) -> bytes:
    """Put something else in place of a workbook's only sheet."""
    stream, good = io.BytesIO(), zipfile.ZipFile(io.BytesIO(skids.workbook({"Run": RUN})))
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in good.namelist():
            archive.writestr(name, part if name == SHEET else good.read(name))
    return stream.getvalue()


@pytest.mark.parametrize("kind", PARTS)
def test_a_sheet_that_lies(kind, monkeypatch):
    monkeypatch.setattr("beadline.reading.workbook._MOST_CELLS", 10_000_000)
    part, code = PARTS[kind]
    start = time.process_time()
    with pytest.raises(reading.UnreadableFile) as caught:
        reading.read(with_sheet(part), filename="run.xlsx")
    assert caught.value.code == code
    assert time.process_time() - start < 10


def test_ten_thousand_columns():
    rows = [["Volume (mL)", *["S (mS/cm)"] * 9_999], *[[1.5] * 10_000] * 3]
    with pytest.raises(reading.UnreadableFile, match="most that is read is 1000"):
        reading.read(skids.workbook({"Run": rows}), filename="run.xlsx")


def test_more_sheets_than_a_run_has():
    content = skids.workbook({f"s{number}": [["a"]] for number in range(120)})
    with pytest.raises(reading.UnreadableFile, match="120 sheets"):
        reading.read(content, filename="run.xlsx")


def test_empty_cells_far_to_the_right_and_below_do_no_harm():
    blank = b"<row><c r='XFD1'/></row>" * 500
    rows = b"".join(
        b"<row><c><v>%d</v></c><c><v>%d</v></c><c r='XFD1'/></row>" % (i, i % 7) for i in range(40)
    )
    names = (b"<c t='inlineStr'><is><t>%s</t></is></c>" % name for name in (b"Volume (mL)", b"UV (mAU)"))
    title = b"<row>%s</row>" % b"".join(names)
    trace = reading.read(with_sheet(START + title + rows + blank + END), filename="run.xlsx")
    assert len(trace.signals[0].values) == 40
