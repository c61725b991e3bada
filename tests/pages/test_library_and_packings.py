"""From an empty library to a packed bed, with forms alone; nothing here is of any plant."""

from __future__ import annotations

import pytest
from fastapi.testclient import TestClient
from tests.pages.conftest import Visitor

COLUMN = {
    "name": "Dunlin",
    "asset_tag": "CL-7",
    "kind": "self-packing",
    "inner_diameter_cm": "20",
    "pressure_rating_bar": "3",
}
RESIN = {"name": "Marsh 90", "chemistry": "IEX", "bead_diameter_um": "90"}
LOT = {"resin": "Marsh 90", "lot_number": "M90-1", "received_on": "2025-01-07"}
PLAN = {"name": "Polish", "transitions": "wash to strip; conductivity; Strip*; up\nend; ph; ; down; 2,5"}
PACKING = {
    "column": "1",
    "lot": "1",
    "step_plan": "1",
    "packed_at": "2025-03-12T09:00",
    "bed_height_cm": "20,5",
}


def fill_the_library(engineer: Visitor) -> None:
    for shelf, form in {"columns": COLUMN, "resins": RESIN, "lots": LOT, "step-plans": PLAN}.items():
        engineer.post(f"/library/{shelf}", form)


def test_what_is_added_stands_on_its_shelf(engineer: Visitor) -> None:
    fill_the_library(engineer)
    page = engineer.get("/library")
    for text in ("Dunlin", "Marsh 90", "M90-1", "wash to strip on conductivity; end on ph"):
        assert text in page


@pytest.mark.parametrize(
    ("shelf", "form", "said"),
    [
        ("columns", COLUMN | {"inner_diameter_cm": "wide"}, "is not a number"),
        ("columns", COLUMN | {"pressure_rating_bar": "-1"}, "above 0"),
        ("columns", COLUMN | {"kind": "open tube"}, "no kind of column"),
        ("resins", RESIN | {"cycle_limit": "0"}, "At least one cycle"),
        ("lots", LOT | {"received_on": "soon"}, "not a day"),
        ("step-plans", PLAN | {"transitions": "wash; colour; x"}, "Line 1 can&#39;t be read"),
        ("step-plans", PLAN | {"transitions": "wash; uv; ; up"}, "neither a mark nor a volume"),
    ],
)
def test_what_can_not_be_is_refused_beside_what_was_typed(
    engineer: Visitor, shelf: str, form: dict[str, str], said: str
) -> None:
    if shelf == "lots":
        engineer.post("/library/resins", RESIN)
    status = 404 if said == "No resin" else 422
    page = engineer.post(f"/library/{shelf}", form, status)
    assert said in page
    assert f'value="{form.get("name", form.get("lot_number"))}"' in page


def test_a_shelf_that_is_not_there_is_not_found(engineer: Visitor) -> None:
    engineer.get("/library/pumps/new", 404)


def test_a_packing_is_recorded_held_released_and_unpacked(engineer: Visitor) -> None:
    fill_the_library(engineer)
    page = engineer.post("/packings", PACKING)
    assert "6.440 L" in page  # pi/4 (20 cm)^2 20.5 cm, by hand
    assert "not qualified" in page
    assert "A reason is missing" in engineer.post("/packings/1/hold", {"reason": " "}, 422)
    assert "on hold" in engineer.post("/packings/1/hold", {"reason": "leaking adapter"})
    assert "is on hold already" in engineer.post("/packings/1/hold", {"reason": "again"}, 409)
    assert "not qualified" in engineer.post("/packings/1/release", {"reason": "tightened"})
    assert "unpacked" in engineer.post("/packings/1/unpack", {"reason": "end of campaign"})
    records = engineer.get("/records")
    for reason in ("leaking adapter", "tightened", "end of campaign"):
        assert reason in records


def test_a_full_column_takes_no_second_packing(engineer: Visitor) -> None:
    fill_the_library(engineer)
    engineer.post("/packings", PACKING)
    page = engineer.post("/packings", PACKING, 409)
    assert "still holds packing 1" in page
    assert 'value="20,5"' in page


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"packed_at": "2099-01-01T00:00"}, "missing or to come"),
        ({"bed_height_cm": ""}, "bed height is missing"),
        ({"slurry_percent": "130"}, "at most 100 %"),
        ({"compression_factor": "0.9"}, "1 or more"),
        ({"pool_tank_l": "-4"}, "above 0"),
    ],
)
def test_a_packing_that_can_not_be_is_refused(engineer: Visitor, changed: dict[str, str], said: str) -> None:
    fill_the_library(engineer)
    assert said in engineer.post("/packings", PACKING | changed, 422)


def test_the_slurry_for_a_bed(engineer: Visitor) -> None:
    """By hand: pi/4 (1 m)^2 0.2 m = 157.1 L; times 1.15 over 0.5 is 361.3 L; u 0.01/0.5 of it, 7.2 L."""
    asked = "plan_diameter_cm=100&plan_height_cm=20&plan_compression=1.15&plan_slurry_percent=50"
    page = engineer.get(f"/packings/new?{asked}")
    assert "157.1 L" in page
    assert "361 ± 7.2 L" in page
    assert "outside the usual" not in page
    assert "outside the usual 40 to 70 %" in engineer.get(f"/packings/new?{asked.replace('=50', '=30')}")
    assert "No bed can be planned so" in engineer.get(f"/packings/new?{asked.replace('1.15', '0.5')}", 422)


def test_a_viewer_looks_but_does_not_change(client: TestClient) -> None:
    viewer = Visitor(client, "viewer")
    assert "Add a column" not in viewer.get("/library")
    viewer.get("/library/columns/new", 403)
    viewer.post("/library/columns", COLUMN, 403)
    viewer.post("/packings", PACKING, 403)


def test_a_form_without_its_token_changes_nothing(engineer: Visitor) -> None:
    assert engineer.client.post("/library/columns", data=COLUMN).status_code == 403
    assert "Dunlin" not in engineer.get("/library")
