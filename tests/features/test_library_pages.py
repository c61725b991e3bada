"""From an empty library to shelves of columns, resins, lots and step plans, with forms alone."""

from __future__ import annotations

from collections.abc import Callable
from html import unescape

import pytest
from tests import sites
from tests.library_forms import COLUMN, LOT, RESIN, fill_the_library
from tests.sites import Site
from tests.visitors import Visitor


@pytest.fixture
def empty_site(open_site: Callable[..., Site]) -> Site:
    return open_site(sites.fill_people)


@pytest.fixture
def engineer(empty_site: Site) -> Visitor:
    return empty_site.visitor("engineer")


def test_what_is_added_stands_on_its_shelf(engineer: Visitor):
    fill_the_library(engineer)
    page = engineer.page("/library")
    for text in ("Dunlin", "Marsh 90", "M90-1", "wash to strip on conductivity; end on ph"):
        assert text in page


REFUSED = [
    ("columns", COLUMN, "inner_diameter_cm", "wide", "is not a number"),
    ("columns", COLUMN, "inner_diameter_cm", "400", "400 cm can't be right"),
    ("columns", COLUMN, "pressure_rating_bar", "-1", "above 0"),
    ("columns", COLUMN, "hold_up_ml", "-5", "0 or more"),
    ("columns", COLUMN, "kind", "open tube", "no kind of column"),
    ("columns", COLUMN, "asset_tag", "C" * 41, "too long"),
    ("columns", COLUMN, "name", " ", "The name is missing"),
    ("resins", RESIN, "cycle_limit", "0", "At least one cycle"),
    ("resins", RESIN, "pressure_limit_bar", "0", "above 0"),
    ("resins", RESIN, "bead_diameter_um", "5000", "can't be right"),
    ("lots", LOT, "received_on", "soon", "not a day"),
]


@pytest.mark.parametrize(("shelf", "form", "field", "value", "said"), REFUSED)
def test_what_can_not_be_is_refused_beside_its_field_and_nothing_typed_is_lost(
    empty_site: Site, engineer: Visitor, shelf: str, form: dict[str, str], field: str, value: str, said: str
):
    if shelf == "lots":
        engineer.send("/library/resins", RESIN)
    before = empty_site.counts()
    page = unescape(engineer.send(f"/library/{shelf}", form | {field: value}, 422))
    assert empty_site.counts() == before
    beside = page.split(f'id="error-{field}"')[1].split("</p>")[0]
    assert said in beside
    kept = "kind" if shelf == "columns" and field != "kind" else next(name for name in form if name != field)
    assert form[kept].splitlines()[0] in page.split(f'id="field-{kept}"')[1]


@pytest.mark.parametrize(
    ("shelf", "form", "field"), [("columns", COLUMN, "asset_tag"), ("resins", RESIN, "name")]
)
def test_a_name_that_is_taken_is_refused(engineer: Visitor, shelf: str, form: dict[str, str], field: str):
    engineer.send(f"/library/{shelf}", form)
    page = engineer.send(f"/library/{shelf}", form, 409)
    assert f'id="error-{field}"' in page
    assert "There is already a" in page


def test_a_lot_of_a_resin_that_is_not_there_is_refused(engineer: Visitor):
    assert "No resin was chosen" in engineer.send("/library/lots", LOT, 404)


def test_a_shelf_that_is_not_there_is_not_found(engineer: Visitor):
    engineer.page("/library/pumps/new", 404)


def test_a_viewer_looks_but_does_not_add(empty_site: Site):
    viewer = empty_site.visitor("viewer")
    assert "Add a column" not in viewer.page("/library")
    viewer.page("/library/columns/new", 403)
    viewer.send("/library/columns", COLUMN, 403)


def test_a_form_without_its_token_adds_nothing(engineer: Visitor):
    assert engineer.client.post("/library/columns", data=COLUMN).status_code == 403
    assert "Dunlin" not in engineer.page("/library")


def test_the_library_says_who_may_do_what_and_how_files_are_read(life: Site):
    page = life.visitor("viewer").page("/library")
    people = page.split('id="people"')[1]
    assert "acknowledge, log a run, look" in people
    read = page.split('id="reading-profiles"')[1].split("</section>")[0]
    assert "Text, commas, decimal point" in read
    assert "conductivity" in read
