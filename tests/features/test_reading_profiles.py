"""Reading profiles: made with the first file, found again by later ones, corrected, tried, versioned."""

from __future__ import annotations

import csv
import io
import json
import re
from html import unescape

import pytest
from tests import builders
from tests.builders import HEALTHY
from tests.reading import skids
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import Visitor, bearer


def rows(site: Site, query: str) -> list[tuple[object, ...]]:
    with site.engine.connect() as connection:
        return [tuple(row) for row in connection.exec_driver_sql(query)]


def post(site: Site, number: int, *, bed=PLOVER, change=lambda text: text):
    file = builders.make_cycle_file(bed, number)
    content = change(file.content.decode()).encode()
    sent = (file.filename, content)
    return site.post_run(sent, credentials=bearer(site.token("operator")), column=bed.column.name)


def columns_of(site: Site, version_id: int = 1) -> dict[str, dict[str, object]]:
    query = f"select definition from reading_profiles where id = {version_id}"
    definition = json.loads(str(rows(site, query)[0][0]))
    return {column["header"]: column for column in definition["columns"]}


@pytest.fixture
def engineer(life: Site) -> Visitor:
    return life.visitor("engineer")


def test_one_profile_reads_a_whole_life_and_every_run_names_it(life: Site):
    assert rows(life, "select id, version from reading_profiles") == [(1, 1)]
    named = rows(life, "select count(*) from cycles where reading_profile_id = 1")
    assert named == [(HEALTHY,)]


def test_a_renamed_column_is_a_new_layout_and_what_changed_is_said(life: Site, engineer: Visitor):
    header = next(name for name, column in columns_of(life).items() if column["quantity"] == "conductivity")
    renamed = "Conductivity behind the column (mS/cm)"
    file = builders.make_cycle_file(PLOVER, HEALTHY + 1)
    content = file.content.decode().replace(header, renamed).encode()
    seen = engineer.client.post(
        "/log-a-run/look",
        data={"packing": "1", "csrf_token": token(engineer)},
        files={"file": (file.filename, content)},
    )
    said = unescape(seen.text)
    assert "does not fit its reading profile" in said
    assert f"was “{header}” and is now “{renamed}”" in said
    assert post(life, HEALTHY + 1, change=lambda text: text.replace(header, renamed)).status_code == 201
    assert rows(life, "select id, version from reading_profiles") == [(1, 1), (2, 1)]


def test_a_file_finds_the_profile_of_its_layout_on_another_bed(life: Site, engineer: Visitor):
    change_column(life, engineer, "temperature", use="ignored")
    content = builders.make_cycle_file(builders.a_bed("Dotterel", skid="comma volume"), 1)
    answer = life.post_run(content, credentials=bearer(life.token("operator")), column=DOTTEREL.column.name)
    assert answer.status_code == 201
    newest = rows(life, "select reading_profile_id from cycles order by id desc limit 1")
    assert newest == [(2,)]


def test_a_correction_becomes_the_next_version_and_reads_the_next_run(life: Site, engineer: Visitor):
    saved = change_column(life, engineer, "temperature", use="ignored")
    assert saved.endswith("/2")
    assert post(life, HEALTHY + 1).status_code == 201
    last = rows(life, "select reading_profile_id, profile from cycles order by id desc limit 1")[0]
    assert last[0] == 2
    used = {column["quantity"] for column in json.loads(str(last[1]))["columns"]}
    assert "temperature" not in used
    page = unescape(engineer.page(saved))
    assert "Version 2, the newest" in page
    assert f"cycle {HEALTHY + 1}" in page
    assert "replaced by" in engineer.page("/library/reading-profiles/1")


def test_a_unit_of_the_wrong_dimension_is_said_beside_its_field_and_nothing_is_saved(
    life: Site, engineer: Visitor
):
    page = change_column(life, engineer, "conductivity", unit="bar", status=422)
    assert "“bar” is a unit of pressure, not of conductivity" in page
    assert 'aria-invalid="true"' in page
    assert rows(life, "select count(*) from reading_profiles") == [(1,)]


def test_a_change_is_tried_before_it_is_saved(life: Site, engineer: Visitor):
    index = column_index(life, "conductivity")
    form = {"part": "yes", f"column_{index}_unit": "µS/cm"}
    answer = engineer.post("/library/reading-profiles/1/try", form, token_from="/library/reading-profiles/1")
    tried = unescape(answer.text)
    assert "<h1" not in tried
    assert "What comes out of" in tried
    assert rows(life, "select count(*) from reading_profiles") == [(1,)]
    other = ("other.csv", b"Time (h);pH\n0;7\n1;7\n")
    answer = engineer.post(
        "/library/reading-profiles/1/try", form, token_from="/library/reading-profiles/1", file=other
    )
    assert "does not fit its reading profile" in unescape(answer.text)


REFUSED = [
    ({"why": " "}, "needs a reason"),
    ({"name": ""}, "needs a name"),
    ({"flow_l_h": "-2"}, "above 0"),
    ({"axis": "time"}, "this axis needs"),
    ({}, "Nothing was changed"),
]


@pytest.mark.parametrize(("form", "said"), REFUSED)
def test_what_can_not_be_saved_is_refused(life: Site, engineer: Visitor, form: dict[str, str], said: str):
    name = str(rows(life, "select name from reading_profiles")[0][0])
    places = {f"column_{index}_use": "ignored" for index in range(len(columns_of(life)))}
    given = {"name": name, "why": "New totaliser"} | form | (places if "axis" in form else {})
    answer = engineer.post("/library/reading-profiles/1", given)
    assert said in unescape(answer.text)
    assert rows(life, "select count(*) from reading_profiles") == [(1,)]


def as_cells(number: int) -> list[list[object]]:
    """Return a cycle's file of Plover as rows of a sheet."""
    text = builders.make_cycle_file(PLOVER, number).content.decode("utf-8-sig")
    return [
        [float(cell) if re.fullmatch(r"-?[\d.]+", cell) else cell for cell in line]
        for line in csv.reader(io.StringIO(text))
    ]


def test_the_sheet_of_a_workbook_is_chosen_in_the_profile(life: Site, engineer: Visitor):
    first = ("21.xlsx", skids.workbook({"Run": as_cells(HEALTHY + 1)}))
    credentials = bearer(life.token("operator"))
    assert life.post_run(first, credentials=credentials).status_code == 201
    version = int(str(rows(life, "select max(id) from reading_profiles")[0][0]))
    assert 'name="sheet"' in engineer.page(f"/library/reading-profiles/{version}")
    name = str(rows(life, f"select name from reading_profiles where id = {version}")[0][0])
    form = {"name": name, "why": "The skid's new export", "sheet": "Second"}
    engineer.send(f"/library/reading-profiles/{version}", form)
    two = skids.workbook({"Run": as_cells(HEALTHY + 1), "Second": as_cells(HEALTHY + 2)})
    answer = life.post_run(("22.xlsx", two), credentials=credentials)
    assert answer.status_code == 201, answer.text  # were the sheet Run read, it would look recorded
    assert answer.json()["cycle"] == HEALTHY + 2


def test_an_old_version_is_not_changed(life: Site, engineer: Visitor):
    change_column(life, engineer, "temperature", use="ignored")
    answer = change_column(life, engineer, "temperature", use="signal", status=409, version=1)
    assert "newer version" in answer


def test_a_viewer_sees_but_does_not_change(life: Site):
    viewer = life.visitor("viewer")
    assert "Save as version" not in viewer.page("/library/reading-profiles/1")
    answer = viewer.post("/library/reading-profiles/1", {"name": "x", "why": "y"})
    assert answer.status_code == 403


def token(visitor: Visitor) -> str:
    text = visitor.page("/parts")
    return text.split('name="csrf_token" value="')[1].split('"')[0]


def column_index(site: Site, quantity: str) -> int:
    return next(int(str(c["index"])) for c in columns_of(site).values() if c["quantity"] == quantity)


def change_column(
    site: Site, engineer: Visitor, quantity: str, *, status: int = 303, version: int = 1, **fields: str
) -> str:
    """Save the next version with one column changed; return where it is, or the page that refuses."""
    index = column_index(site, quantity)
    form = {f"column_{index}_{field}": value for field, value in fields.items()}
    name = str(rows(site, "select name from reading_profiles")[0][0])
    path = f"/library/reading-profiles/{version}"
    answer = engineer.post(path, form | {"name": name, "why": "As the skid's manual says"})
    assert answer.status_code == status, unescape(answer.text)[:3000]
    return answer.headers["location"] if status == 303 else unescape(answer.text)
