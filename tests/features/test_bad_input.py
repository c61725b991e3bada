"""What can't be a run is refused in words that name the place and the mend, and leaves nothing behind."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import pytest
from tests import builders
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import bearer

from beadline.features.packings import service as packings
from beadline.kit import clock
from beadline.store.tables import User

pytestmark = pytest.mark.every_dialect

FILE = builders.make_cycle_file(PLOVER, 1)
LINES = FILE.content.decode().splitlines()
HEAD = next(i for i, line in enumerate(LINES) if line.startswith("Volume"))
ROW = HEAD + 101  # somewhere in the middle; people count lines from 1


def with_cell(column: int, text: str) -> bytes:
    """The file with one cell written over."""
    lines = list(LINES)
    cells = lines[ROW].split(",")
    cells[column] = text
    lines[ROW] = ",".join(cells)
    return "\n".join(lines).encode()


def without_numbers() -> bytes:
    return "\n".join(["Run,x", "Phase,Note", *["Wash,none"] * 20]).encode()


AT_ROW = f"line {ROW + 1}"
# what is wrong, the bytes, the code, and what the message must name: the place, then the mend
FILES: dict[str, tuple[bytes, str, str, str]] = {
    "empty": (b"", "empty", "run.csv", "Export the run again"),
    "blank": (b"\n \n\n", "empty", "run.csv", "Export the run again"),
    "unknown delimiter": (FILE.content.replace(b",", b"~"), "wrong-delimiter", "line", "comma, semicolon"),
    "no numbers": (without_numbers(), "no-numbers", "run.csv", "volume"),
    "text in a signal": (with_cell(1, "high"), "text-in-number", f"{AT_ROW}, column 2", "Correct the cell"),
    "text in the volume": (with_cell(0, "high"), "text-in-number", f"{AT_ROW}, column 1", "Correct the cell"),
    "falling volume": (with_cell(0, "1"), "falling-axis", f"{AT_ROW}, column 1", "two runs are in one file"),
    "one point": ("\n".join(LINES[: HEAD + 2]).encode(), "too-few-points", "line", "whole run"),
    "a picture": (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 9, "not-text", "run.csv", "delimited text"),
    "a document": (b"%PDF-1.7\n" + bytes(range(256)) * 9, "not-text", "run.csv", "delimited text"),
    "random bytes": (bytes(i * i * 7 % 251 for i in range(5000)), "not-text", "run.csv", "delimited text"),
    "steps that the plan does not name": (
        FILE.content.replace(b",Strip", b",Elution").replace(b",Rinse", b",Hold"),
        "no-transition",
        "file",
        "Strip",
    ),
}
# what was said of the run, the status, the code or field, and what the message must name
FACTS: dict[str, tuple[dict[str, str], int, str, str]] = {
    "a column that does not exist": ({"column": "Plovr"}, 404, "column", "Did you mean Plover?"),
    "a tag that does not exist": ({"column": "TC-9999"}, 404, "column", "TC-"),
    "a column unlike any": ({"column": "Zzyzx 1"}, 404, "column", "Columns are listed"),
    "no column": ({"column": ""}, 422, "column", "column"),
    "a start to come": ({"started_at": "2099-01-01T00:00"}, 422, "started_at", "still to come"),
    "a start before the bed": ({"started_at": "2001-01-01T00:00"}, 422, "started_at", "before the bed"),
    "a start in words": ({"started_at": "yesterday"}, 422, "started_at", "2031-03-12T14:05"),
    "a start out of time": ({"started_at": "9999-12-31T23:59-14:00"}, 422, "started_at", "not a time"),
    "a number in words": ({"number": "first"}, 422, "number", "not a number"),
    "half a cycle": ({"number": "1.5"}, 422, "number", "whole number"),
    "cycle zero": ({"number": "0"}, 422, "number", "Count from 1"),
    "an endless number": ({"number": "inf"}, 422, "number", "not a number"),
    "a number that is none": ({"number": "nan"}, 422, "number", "not a number"),
    "a number of 25 digits": ({"number": "9" * 25}, 422, "number", "whole number"),
    "a taken number": ({"number": "7"}, 409, "number", "next free number"),
}


@pytest.fixture
def credentials(site: Site) -> dict[str, str]:
    return bearer(site.token("operator"))


@pytest.fixture
def nothing_stored(site: Site, credentials: dict[str, str]) -> Iterator[Callable[[], None]]:
    """Compares the row counts of all tables after the test with those before; cycle 7 is there."""
    file = builders.make_cycle_file(PLOVER, 7)
    assert site.post_run(file, credentials=credentials, number="7").status_code == 201
    before = site.counts()
    yield lambda: None
    assert site.counts() == before


@pytest.mark.usefixtures("nothing_stored")
@pytest.mark.parametrize("name", FILES)
def test_a_file_that_is_no_run_is_refused(site: Site, credentials: dict[str, str], name: str):
    content, code, where, mend = FILES[name]
    answer = site.post_run(("run.csv", content), credentials=credentials, column=DOTTEREL.column.name)
    problem = answer.json()
    assert answer.status_code == 422, problem
    assert answer.headers["content-type"] == "application/problem+json"
    assert problem["code"] == code
    assert where in problem["where"]
    assert mend in problem["mend"] or mend in problem["title"]
    assert problem["title"]
    assert problem["mend"]


@pytest.mark.usefixtures("nothing_stored")
@pytest.mark.parametrize("name", FACTS)
def test_facts_that_can_not_be_are_refused(site: Site, credentials: dict[str, str], name: str):
    facts, status, where, said = FACTS[name]
    answer = site.post_run(FILE, credentials=credentials, **facts)
    problem = answer.json()
    assert (answer.status_code, problem["where"]) == (status, where), problem
    assert said in problem["detail"]
    assert problem["mend"]


@pytest.mark.usefixtures("nothing_stored")
def test_a_file_must_come_with_the_post(site: Site, credentials: dict[str, str]):
    answer = site.client.post("/api/v1/runs", data={"column": "Plover"}, headers=credentials)
    assert (answer.status_code, answer.json()["where"]) == (422, "file")


@pytest.mark.usefixtures("nothing_stored")
def test_a_post_that_is_no_form_is_refused(site: Site, credentials: dict[str, str]):
    for kind in ("multipart/form-data; boundary=x", "multipart/form-data", "application/json", "text/plain"):
        answer = site.client.post(
            "/api/v1/runs", content=b"\0\xff--x\r\n", headers=credentials | {"content-type": kind}
        )
        assert 400 <= answer.status_code < 500, kind
        assert answer.json()["title"], kind


def test_a_column_that_was_unpacked_takes_no_run(site: Site, credentials: dict[str, str]):
    with site.writing() as session:
        bed = packings.current(session, PLOVER.column.name)
        by = session.get(User, 1)
        assert by is not None
        packings.unpack(session, bed, unpacked_at=clock.now(), by=by, at=clock.now())
    before = site.counts()
    answer = site.post_run(FILE, credentials=credentials)
    assert (answer.status_code, answer.json()["code"]) == (409, "not-packed")
    assert "not packed at present" in answer.json()["title"]
    page = site.visitor("operator").post("/log-a-run", {"packing": "1"}, file=("a.csv", FILE.content))
    assert page.status_code == 409
    assert "This bed was unpacked." in page.text
    kept = {name: count for name, count in site.counts().items() if name not in ("sign_ins", "records")}
    assert kept.items() <= before.items()


@pytest.mark.parametrize("name", ["empty", "text in a signal", "a picture"])
def test_the_page_refuses_in_the_same_words_and_keeps_what_was_typed(site: Site, name: str):
    content, _, where, mend = FILES[name]
    operator = site.visitor("operator")
    before = site.counts()
    form = {"packing": "1", "batch": "B-77"}
    for path in ("/log-a-run/look", "/log-a-run"):
        answer = operator.post(path, form, file=("run.csv", content))
        text = answer.text.replace("&#34;", '"').replace("&#39;", "'")
        assert answer.status_code == 422
        assert mend in text
        assert "line" not in where or where in text
    assert 'value="B-77"' in text
    assert site.counts() == before


@pytest.mark.usefixtures("nothing_stored")
def test_a_character_that_no_database_stores_is_refused_or_kept_but_never_a_crash(
    site: Site, credentials: dict[str, str]
):
    for facts in ({"column": "\0"}, {"column": "Plover", "number": "\0"}):
        assert 400 <= site.post_run(FILE, credentials=credentials, **facts).status_code < 500
