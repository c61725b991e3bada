"""A sheet of earlier results: every row is reported, what is accepted is recorded once, and all at once."""

from __future__ import annotations

import io
import json
import re
from datetime import date, datetime, timedelta
from typing import Any

import numpy as np
import openpyxl
import pytest
from httpx import Response
from tests import builders
from tests.builders import HEALTHY, PACKED
from tests.sites import PLOVER, Site
from tests.visitors import bearer

pytestmark = pytest.mark.every_dialect
TAG = PLOVER.column.asset_tag
LOOK, IMPORT = "/api/v1/earlier-results/look", "/api/v1/earlier-results"


def send(
    site: Site, content: bytes | str, *, to: str = LOOK, filename: str = "old.csv", **form: Any
) -> Response:
    content = content.encode() if isinstance(content, str) else content
    fields = {"column": "Plover"} | {
        name: json.dumps(value) if isinstance(value, dict) else value for name, value in form.items()
    }
    return site.client.post(
        to, data=fields, files={"file": (filename, content)}, headers=bearer(site.token("engineer"))
    )


def looked(site: Site, content: bytes | str, **form: Any) -> dict[str, Any]:
    answer = send(site, content, **form)
    assert answer.status_code == 200, answer.text
    return answer.json()


def imported(site: Site, content: bytes | str, **form: Any) -> dict[str, Any]:
    answer = send(site, content, to=IMPORT, **({"reason": "Ten years on paper"} | form))
    assert answer.status_code == 201, answer.text
    return answer.json()


def rows(reply: dict[str, Any]) -> dict[int, tuple[str, int | None]]:
    return {row["row"]: (row["status"], row["cycle"]) for row in reply["rows"]}


def a_sheet(count: int, *, first: int = 1) -> str:
    """Usual values of so many cycles, a day each from the day after packing on."""
    lines = ["Cycle;Date;HETP [cm];Asymmetry"]
    for number in range(first, first + count):
        noise, day = np.random.default_rng(number).normal(size=2), (PACKED + timedelta(days=number)).date()
        values = f"{0.0305 + 0.0004 * noise[0]:.5f};{1.19 + 0.01 * noise[1]:.3f}".replace(".", ",")
        lines.append(f"{number};{day};{values}")
    return "\n".join(lines)


def test_a_sheet_of_ten_years_is_read_as_people_wrote_it(site: Site):
    """Title rows, blank rows, names again, decimal commas, "n/a", a foot with means: each row is told."""
    reply = looked(
        site,
        "Plover, results of ÄKV – do not delete;;;;;\n;;;;;\n"
        "Cycle;Date;Batch;HETP (mm);As;Remark\n"
        "1;07.01.2025;B1;0,31;1,12;\n"
        "2;8-Jan-25;B2;n/a;1,2;probe cleaned\n"
        "\n"
        "Cycle;Date;Batch;HETP (mm);As;Remark\n"
        "2025, second campaign;;;;;\n"
        "3;45668;B3;0,30;1,25;\n"
        "4;11.01.2025;B4;;;no trace\n"
        "5;;B5;0,30;1,2;\n"
        "6;13.01.2025;B6;about 0,3;1,2;\n"
        "6;14.01.2025;B7;0,3;1,2;\n"
        "Mean;;;0,30;1,2;\n",
    )
    assert rows(reply) == {
        4: ("accepted", 1),
        5: ("accepted", 2),
        7: ("left out", None),
        8: ("left out", None),
        9: ("accepted", 3),
        10: ("left out", None),
        11: ("refused", 5),
        12: ("refused", 6),
        13: ("accepted", 6),
        14: ("refused", None),
    }
    told = {row["row"]: row for row in reply["rows"]}
    assert told[12]["said"] == "“about 0,3” is no number."
    assert told[12]["where"] == "plate height (HETP)"
    assert told[14]["said"] == "“Mean” is no whole number."
    assert "start is missing" in told[11]["said"]
    assert all(row["mend"] for row in reply["rows"] if row["status"] == "refused")
    assert site.counts()["cycles"] == 0


def test_what_is_accepted_is_recorded_with_its_values_and_marked(site: Site):
    """0.31 mm is 0.00031 m; 45668 days after 30 Dec 1899 is 11 January 2025 (a spreadsheet's count)."""
    sheet = "Cycle;Date;HETP (mm);As;Remark\n1;07.01.2025;0,31;1,12;\n3;45668;0,30;1,25;probe cleaned\n"
    assert imported(site, sheet)["recorded"] == 2
    cycles = site.client.get(f"/api/v1/columns/{TAG}/cycles", headers=bearer(site.token("viewer"))).json()[
        "cycles"
    ]
    first, second = cycles
    assert first["transitions"][0]["results"]["hetp_moments"] == {"value": 0.00031, "u": None, "unit": "m"}
    assert (second["cycle"], second["started_at"][:10]) == (3, "2025-01-11")
    viewer = site.visitor("viewer")
    page = viewer.page(f"/columns/{TAG}?cycle=3")
    assert "An earlier result, without a trace," in page
    assert "old.csv" in page
    assert "in limits, earlier results" in page
    results = viewer.page(f"/columns/{TAG}/results.csv").splitlines()
    place = results[0].split(",").index("values_from")
    assert {line.split(",")[place] for line in results[1:]} == {"earlier results"}
    assert "are earlier results from a sheet" in viewer.page(
        f"/columns/{TAG}/cycles/3/transitions/wash%20to%20strip", status=404
    )


def test_the_life_is_judged_once_and_like_one_that_was_typed(site: Site):
    reply = imported(site, a_sheet(20))
    assert reply["counts"]["accepted"] == 20
    viewer = bearer(site.token("viewer"))
    cycles = site.client.get(f"/api/v1/columns/{TAG}/cycles", headers=viewer).json()["cycles"]
    assert [one["verdict"] for one in cycles] == ["in limits"] * 20
    with site.writing() as session:
        stored = (
            session.connection()
            .exec_driver_sql("select condition from judgements order by id")
            .scalars()
            .all()
        )
        assert stored == ["learning baseline"] * 15 + ["in control"] * 5
    with site.writing() as session:
        said = (
            session.connection().exec_driver_sql("select said, why from records where did = 'import'").one()
        )
    assert tuple(said) == ("Imported 20 earlier results of Plover, packing 1", "Ten years on paper")


def test_the_same_sheet_again_changes_nothing_and_one_more_row_adds_one(site: Site):
    imported(site, a_sheet(5))
    before = site.counts()["traces"]
    again = imported(site, a_sheet(5))
    assert again["recorded"] == 0
    assert set(rows(again).values()) == {("there already", number) for number in range(1, 6)}
    assert (site.counts()["cycles"], site.counts()["traces"]) == (5, before)
    assert imported(site, a_sheet(6))["recorded"] == 1


def test_rows_without_a_number_take_the_ones_that_their_dates_leave_free(life: Site):
    """The bed has cycles 1 to 20, a day each; what started after them goes on at 21."""
    sheet = (
        "Date;HETP [cm];Asymmetry\n2025-01-29;0.031;1.2\n2025-01-28;0.030;1.2\n2025-01-15 23:00;0.03;1.2\n"
    )
    reply = looked(life, sheet)
    assert rows(reply) == {2: ("accepted", 22), 3: ("accepted", 21), 4: ("refused", None)}
    assert "More runs lie between" in reply["rows"][2]["said"]
    assert imported(life, sheet, leave_out_refused="true")["recorded"] == 2
    assert rows(looked(life, sheet))[2] == ("there already", 22)


def test_a_row_of_a_run_that_has_its_trace_is_there_already(life: Site):
    """The builder's cycle 3 started three days after packing."""
    reply = looked(life, f"Cycle;Date;As\n3;{(PACKED + timedelta(days=3)).date()};1.2\n4;2025-02-20;1.2\n")
    found = {row["row"]: row for row in reply["rows"]}
    assert "from its trace" in found[2]["said"]
    assert found[3]["status"] == "refused"
    assert "is recorded already, started on" in found[3]["said"]


def test_commas_are_decimal_in_a_whole_sheet_as_one_column_tells_and_asked_where_none_does(site: Site):
    told = looked(site, "Cycle;Date;HETP [cm];As\n1;2025-01-08;0,0310;1,198\n")
    assert rows(told) == {2: ("accepted", 1)}
    left_open = looked(site, "Cycle;Date;As\n1;2025-01-08;1,198\n")["rows"][0]
    assert (left_open["status"], left_open["said"]) == ("refused", "“1,198” is 1198 or 1.198.")


def test_day_and_month_that_can_be_swapped_are_asked_for(site: Site):
    sheet = "Cycle,Date,HETP [cm]\n1,08/01/2025,0.031\n2,09/01/2025,0.030\n"
    reply = looked(site, sheet)
    assert [one["where"] for one in reply["questions"]] == ["date"]
    assert "8th of January or the 1st of August" in reply["questions"][0]["said"]
    refused = send(site, sheet, to=IMPORT, reason="old")
    assert (refused.status_code, refused.json()["code"]) == (409, "sheet-unclear")
    assert imported(site, sheet, reading={"day_order": "day first"})["recorded"] == 2
    told = looked(site, "Cycle,Date,HETP [cm]\n1,08/01/2025,0.031\n2,17/01/2025,0.030\n")
    assert (told["questions"], told["day_order"]) == ([], "day first")


def test_a_unit_that_is_not_told_is_asked_for_and_a_wrong_dimension_is_refused(site: Site):
    sheet = "Cycle,Date,HETP\n1,2025-01-08,0.31\n"
    assert "In which unit is the column “HETP”?" in looked(site, sheet)["questions"][0]["said"]
    wrong = looked(site, sheet, reading={"columns": {"2": {"unit": "bar"}}})["questions"]
    assert "“bar” is no unit of plate height" in wrong[0]["said"]
    imported(site, sheet, reading={"columns": {"2": {"unit": "mm"}}})
    reply = site.client.get(f"/api/v1/columns/{TAG}/cycles/1", headers=bearer(site.token("viewer"))).json()
    assert reply["transitions"][0]["results"]["hetp_moments"]["value"] == pytest.approx(0.00031)


@pytest.mark.parametrize(
    ("header", "value", "hetp_m"),
    [
        ("HETP [µm]", "310", 310e-6),
        ("HETP in cm", "0.031", 310e-6),
        ("HETP [m]", "3.1e-4", 310e-6),
        ("Plates", "640", 0.2 / 640),  # the bed is 20 cm high: HETP = L/N
        ("N/m", "3200", 1 / 3200),
        ("Plates per cm", "32", 0.01 / 32),
        ("Reduced plate height", "4.8", 4.8 * 65e-6),  # beads of 65 µm: h = HETP/dp
    ],
)
def test_plates_in_any_form_become_a_plate_height(site: Site, header: str, value: str, hetp_m: float):
    imported(site, f"Cycle;Date;{header}\n1;2025-01-08;{value}\n")
    reply = site.client.get(f"/api/v1/columns/{TAG}/cycles/1", headers=bearer(site.token("viewer"))).json()
    assert reply["transitions"][0]["results"]["hetp_moments"]["value"] == pytest.approx(hetp_m, rel=1e-6)


def test_a_workbook_with_real_dates_numbers_and_merged_titles_is_read(site: Site):
    book = openpyxl.Workbook()
    book.active.title = "Read me"
    book.active.append(["Results of the purification hall"])
    sheet = book.create_sheet("Plover")
    sheet.append(["Plover: transition analysis", None, None, None])
    sheet.merge_cells("A1:D1")
    sheet.append([])
    sheet.append(["Run", "Date", "HETP", "Asymmetry"])
    sheet.append(["", "", "[cm]", "[-]"])
    sheet.append([1, datetime(2025, 1, 8, 14, 5), 0.031, 1.2])
    sheet.append([2, date(2025, 1, 9), "0,030", "n/a"])
    packed = io.BytesIO()
    book.save(packed)
    reply = imported(site, packed.getvalue(), filename="ten years.xlsx")
    assert rows(reply) == {4: ("left out", None), 5: ("accepted", 1), 6: ("accepted", 2)}
    assert reply["sheets"] == ["Read me", "Plover"]
    cycle = site.client.get(f"/api/v1/columns/{TAG}/cycles/1", headers=bearer(site.token("viewer"))).json()
    assert cycle["started_at"].startswith("2025-01-08T14:05")


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (b"", "empty"),
        (b"\x89PNG\r\n\x1a\n" + b"0" * 50, "not-text"),
        (b"a;b\n1;2\n", "no-heading"),
        (b"PK\x03\x04 broken", "damaged"),
        (b"Cycle;Date;HETP [cm]\n" + b"1;2025-01-08;0.03\n" * 20_001, "too-large"),
    ],
)
def test_what_is_no_sheet_of_results_is_refused(site: Site, content: bytes, code: str):
    answer = send(site, content)
    assert (answer.status_code, answer.json()["code"]) == (422, code)
    assert answer.json()["mend"]


def test_rows_that_are_refused_stop_the_import_until_they_are_left_out(site: Site):
    sheet = "Cycle;Date;As\n1;2025-01-08;1.2\n2;2099-01-01;1.2\n3;2024-01-01;1.1\n4;2025-01-09;400\n"
    answer = send(site, sheet, to=IMPORT, reason="old")
    assert (answer.status_code, answer.json()["code"]) == (409, "rows-refused")
    assert (site.counts()["cycles"], site.counts()["traces"]) == (0, 0)
    reply = imported(site, sheet, leave_out_refused="true")
    assert (reply["recorded"], reply["counts"]["refused"]) == (1, 3)
    said = {row["row"]: row["said"] for row in reply["rows"]}
    assert "still to come" in said[3]
    assert "before the bed was packed" in said[4]
    assert "0.1 to 20" in said[5]


def test_a_reason_and_the_right_role_are_needed(site: Site):
    assert send(site, a_sheet(1), to=IMPORT).json()["where"] == "reason"
    operator = bearer(site.token("operator"))
    answer = site.client.post(
        LOOK, data={"column": "Plover"}, files={"file": ("a.csv", b"1")}, headers=operator
    )
    assert answer.status_code == 403


def test_rows_of_other_columns_and_of_earlier_packings_are_told_apart(site: Site):
    sheet = f"Column;Cycle;Date;As\nDotterel;1;2025-01-08;1.2\n{TAG};1;2025-01-08;1.2\n"
    reply = looked(site, sheet)
    assert rows(reply) == {2: ("left out", None), 3: ("accepted", 1)}
    assert send(site, sheet, packing="7").status_code == 404


def test_a_later_trace_goes_on_from_imported_values(site: Site):
    imported(site, a_sheet(HEALTHY))
    file = builders.make_cycle_file(PLOVER, HEALTHY + 1)
    answer = site.post_run(file, credentials=bearer(site.token("operator")))
    assert (answer.status_code, answer.json()["cycle"]) == (201, HEALTHY + 1)


def carried(page: str) -> dict[str, str]:
    """What the page's form carries from the look to the import."""
    return {
        name: re.search(rf'name="{name}" value="([^"]*)"', page)[1]  # type: ignore[index]
        for name in ("carried", "filename")
    }


def test_on_the_page_a_sheet_is_looked_at_corrected_and_imported_without_script(site: Site):
    engineer = site.visitor("engineer")
    assert 'href="/log-a-run/earlier/new"' in engineer.page("/log-a-run")
    assert 'href="/log-a-run/earlier/new"' not in site.visitor("operator").page("/log-a-run")
    sheet = b"Cycle;Date;Height;As\n1;2025-01-08;0,31;1,2\n2;2025-01-09;soon;1,2\n"
    seen = engineer.post("/log-a-run/earlier/look", {"packing": "1"}, file=("old.csv", sheet))
    assert seen.status_code == 200
    assert "Not used: “Height”." in seen.text
    form = {"packing": "1", "column_2_role": "hetp", "column_2_unit": "mm"} | carried(seen.text)
    again = engineer.post("/log-a-run/earlier/look", form)
    assert "“soon” is no number." in again.text
    assert "Record 1 result<" in again.text
    refused = engineer.post("/log-a-run/earlier", form)
    assert (refused.status_code, "A reason is missing." in refused.text) == (422, True)
    assert carried(refused.text)["filename"] == "old.csv"
    stopped = engineer.post("/log-a-run/earlier", form | {"reason": "from paper"})
    assert stopped.status_code == 409
    done = engineer.post("/log-a-run/earlier", form | {"reason": "from paper", "leave_out_refused": "yes"})
    assert (done.status_code, done.headers["location"]) == (303, f"/columns/{TAG}?packing=1")
    assert site.counts()["cycles"] == 1


def test_a_sheet_that_a_form_can_not_carry_is_refused(site: Site):
    noise = np.random.default_rng(1).bytes(800_000).hex().encode()
    engineer = site.visitor("engineer")
    answer = engineer.post("/log-a-run/earlier/look", {"packing": "1"}, file=("old.csv", noise))
    assert (answer.status_code, "beadline import-history" in answer.text) == (413, True)
    lost = engineer.post("/log-a-run/earlier/look", {"packing": "1", "carried": "abcd"})
    assert (lost.status_code, "was lost on the way" in lost.text) == (422, True)
