"""A step plan is written in rows of fields and tried on a trace before it is recorded."""

from __future__ import annotations

import json
from collections.abc import Callable
from html import unescape

import pytest
from tests import builders, sites
from tests.library_forms import PLAN, fill_the_library
from tests.sites import PLOVER, Site
from tests.visitors import Visitor

TRY = "/library/step-plans/try"
ON_LIFE = {
    "name": "Short polish",
    "packing": "1",
    "t0_name": "wash to strip",
    "t0_mark": "Strip",
    "t0_direction": "up",
    "t1_name": "strip to rinse",
    "t1_mark": "Rinse",
    "t1_direction": "down",
}


@pytest.fixture
def keeper(open_site: Callable[..., Site]) -> Visitor:
    return open_site(sites.fill_people).visitor("engineer")


@pytest.fixture
def engineer(life: Site) -> Visitor:
    return life.visitor("engineer")


def tried(engineer: Visitor, changes: dict[str, str], *, file: tuple[str, bytes] | None = None) -> str:
    answer = engineer.post(TRY, ON_LIFE | {"part": "yes"} | changes, file=file)
    assert answer.status_code == 200
    return unescape(answer.text)


def test_a_plan_of_a_name_that_exists_is_its_next_version_and_fills_the_form(keeper: Visitor):
    fill_the_library(keeper)
    keeper.send("/library/step-plans", PLAN | {"t0_quantity": "uv"})
    page = keeper.page("/library")
    assert "wash to strip on uv" in page
    assert page.count(">Polish<") == 2
    form = keeper.page("/library/step-plans/new?plan=2")
    for value in ('value="Polish"', 'value="Strip*"', 'value="2.5"'):
        assert value in form


REFUSED = [
    ("t0_quantity", "colour", "no quantity"),
    ("t0_how", "luck", "no way to find the switch"),
    ("t0_mark", "", "The mark is missing"),
    ("t0_direction", "sideways", "no direction"),
    ("t0_occurrence", "0", "The first one is number 1"),
    ("t0_end_cv", "-1", "ends before the switch"),
    ("t0_end_cv", "1e6", "can't be meant"),
    ("t1_volume_cv", "", "volume of the switch is missing"),
    ("t1_volume_cv", "far", "is not a number"),
    ("t1_name", "wash to strip", "different names"),
    ("name", " ", "The name is missing"),
    ("reference_flow_l_h", "-1", "above 0"),
]


@pytest.mark.parametrize(("field", "value", "said"), REFUSED)
def test_what_can_not_be_is_refused_and_nothing_typed_is_lost(
    keeper: Visitor, field: str, value: str, said: str
):
    fill_the_library(keeper)
    page = unescape(keeper.send("/library/step-plans", PLAN | {field: value}, status=422))
    assert said in page
    assert 'value="Strip*"' in page or field == "t0_mark"
    assert keeper.page("/library").count(">Polish<") == 1


def test_both_transitions_are_found_on_the_newest_run_with_their_windows(engineer: Visitor):
    said = tried(engineer, {})
    assert "Plover, cycle 20" in said
    assert "not found" not in said
    chart = json.loads(said.split('<script type="application/json">')[1].split("</script>")[0])
    assert [window["name"] for window in chart["windows"]] == ["wash to strip", "strip to rinse"]
    for window in chart["windows"]:
        assert window["to"] - window["from"] == pytest.approx(2.2)
    assert chart["signals"][0]["unit"] == "mS/cm"
    assert len(chart["signals"][0]["cv"]) <= 1500


def test_the_step_itself_and_a_volume_find_what_the_mark_finds(engineer: Visitor):
    by_step = tried(engineer, {"t0_how": "step", "t1_how": "volume", "t1_volume_cv": "3.7"})
    assert "Found as step 1" in by_step
    assert "the front is half-way" in by_step


def test_what_is_missing_and_what_is_not_in_the_plan_is_said(engineer: Visitor):
    said = tried(engineer, {"t1_mark": "Regeneration"})
    assert "not found" in said
    assert "No step is named “Regeneration”" in said
    assert "1 step in no window of the plan: down at" in said


def test_a_step_that_was_run_twice_is_said(engineer: Visitor):
    file = builders.make_cycle_file(PLOVER, 3)
    lines = file.content.decode().splitlines()
    strips = [number for number, line in enumerate(lines) if line.endswith("Strip")]
    for number in strips[len(strips) // 2 : len(strips) // 2 + 5]:
        lines[number] = lines[number].removesuffix("Strip") + "Hold"
    said = tried(engineer, {}, file=("twice.csv", "\n".join(lines).encode()))
    assert "starts 2 times; the plan asks for number 1 at most" in said


def test_without_script_the_page_comes_back_with_what_was_found(engineer: Visitor):
    page = unescape(engineer.post(TRY, ON_LIFE).text)
    assert "<h1>Step plan</h1>" in page
    assert "The step “Strip” starts at" in page


def test_a_bed_without_a_run_and_a_file_that_is_none(engineer: Visitor):
    assert "No run of this bed was read from a file" in tried(engineer, {"packing": "2"})
    assert "holds nothing but blanks" in tried(engineer, {}, file=("run.csv", b"   \n"))


def test_a_viewer_writes_no_plans(life: Site):
    viewer = life.visitor("viewer")
    viewer.page("/library/step-plans/new", 403)
    assert viewer.post(TRY, ON_LIFE).status_code == 403
