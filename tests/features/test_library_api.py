"""A program sets up and packs a column from nothing, and logs its first run."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from httpx import Response
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

COLUMN = {
    "asset_tag": "CL-0900",
    "name": "Avocet",
    "kind": "fixed axial compression",
    "inner_diameter_mm": 600.0,
    "pressure_rating_kpa": 300.0,
}
RESIN = {"name": "Strong cation 90", "chemistry": "IEX", "bead_diameter_um": 90.0, "pressure_limit_kpa": 300}
PLAN = {
    "name": "Salt step",
    "reference_flow_m3_s": 1e-5,
    "transitions": [{"name": "wash to strip", "mark": "Strip", "direction": "up"}],
}


class Program:
    """Posts and reads as an engineer's program does."""

    def __init__(self, site: Site, role: str = "engineer") -> None:
        self.site, self.headers = site, bearer(site.token(role))

    def post(self, path: str, content: dict[str, Any]) -> Response:
        return self.site.client.post(f"/api/v1/{path}", json=content, headers=self.headers)

    def made(self, path: str, content: dict[str, Any]) -> dict[str, Any]:
        answer = self.post(path, content)
        assert answer.status_code == 201, answer.text
        told: dict[str, Any] = answer.json()
        return told

    def get(self, path: str) -> Any:
        answer = self.site.client.get(f"/api/v1/{path}", headers=self.headers)
        assert answer.status_code == 200, answer.text
        return answer.json()


@pytest.fixture
def program(site: Site) -> Program:
    return Program(site)


def a_packing(program: Program) -> dict[str, Any]:
    """Record column, resin, lot and plan, and what a packing of them is."""
    program.made("library/columns", COLUMN)
    program.made("library/resins", RESIN)
    lot = program.made("library/lots", {"resin": RESIN["name"], "lot_number": "L-1"})
    plan = program.made("step-plans", PLAN)
    packed_at = (datetime.now(UTC) - timedelta(days=1)).isoformat()
    return {
        "column": "Avocet",
        "lot_id": lot["id"],
        "step_plan_id": plan["id"],
        "packed_at": packed_at,
        "bed_height_mm": 200.0,
        "packing_pressure_kpa": 250.0,
        "packed_by": "flow",
    }


def test_a_column_is_set_up_and_packed(program: Program):
    wanted = a_packing(program)
    made = program.made("packings", wanted)
    # volume of a cylinder: pi/4 x (0.6 m)^2 x 0.2 m
    assert made["bed_volume_m3"] == pytest.approx(0.056549, rel=1e-4)
    assert {name: made[name] for name in ("bed_height_mm", "packed_by")} == {
        "bed_height_mm": 200.0,
        "packed_by": "flow",
    }
    assert program.get(f"packings/{made['id']}") == made
    assert [one["id"] for one in program.get("packings?column=Avocet")] == [made["id"]]
    assert [one["name"] for one in program.get("library/columns")] == ["Avocet", "Dotterel", "Plover"]
    assert program.post("packings", wanted).status_code == 409  # it still holds this one


def test_a_bed_is_held_released_and_unpacked(program: Program):
    number = program.get("packings?column=Plover")[0]["id"]
    for step, field, isset in (
        ("hold", "on_hold_since", True),
        ("release", "on_hold_since", False),
        ("unpack", "unpacked_at", True),
    ):
        assert program.post(f"packings/{number}/{step}", {"reason": " "}).status_code == 422
        answer = program.post(f"packings/{number}/{step}", {"reason": "Site procedure."})
        assert answer.status_code == 200, answer.text
        assert bool(answer.json()[field]) is isset
    assert program.post(f"packings/{number}/unpack", {"reason": "Again."}).status_code == 409


def test_a_step_plan_of_a_known_name_becomes_its_next_version(program: Program):
    first, second = program.made("step-plans", PLAN), program.made("step-plans", PLAN)
    assert second["version"] == first["version"] + 1
    assert second["transitions"][0]["mark"] == "Strip"
    bad = PLAN | {"transitions": [{"name": "x", "start_cv": -1, "end_cv": -0.5}]}
    refused = program.post("step-plans", bad)
    assert (refused.status_code, refused.json()["where"]) == (422, "transitions[0].end_cv")


def test_a_reading_profile_gets_a_next_version(site: Site, program: Program):
    site.post_run(builders.make_cycle_file(PLOVER, 1), credentials=program.headers)
    (line,) = program.get("reading-profiles")
    assert line["runs"] == 1
    whole = program.get(f"reading-profiles/{line['id']}")
    definition = whole["definition"] | {"start": "none"}
    made = program.made(
        f"reading-profiles/{line['id']}/next", {"definition": definition, "why": "Its clock is wrong."}
    )
    assert (made["version"], made["newest"], made["definition"]["start"]) == (2, True, "none")
    assert [one["newest"] for one in program.get(f"reading-profiles/{made['id']}/versions")] == [True, False]
    refused = program.post(
        f"reading-profiles/{made['id']}/next", {"definition": {"kind": "tape"}, "why": "No such kind."}
    )
    assert refused.status_code == 422
    assert refused.json()["mend"]


@pytest.mark.parametrize(
    ("path", "content"),
    [
        ("library/columns", COLUMN),
        ("library/resins", RESIN),
        ("step-plans", PLAN),
        ("packings/1/hold", {"reason": "x"}),
    ],
)
def test_an_operator_changes_no_library(site: Site, path: str, content: dict[str, Any]):
    assert Program(site, "operator").post(path, content).status_code == 403


@pytest.mark.parametrize(
    ("path", "content", "where"),
    [
        ("library/columns", COLUMN | {"inner_diameter_mm": 0}, "inner_diameter_mm"),
        ("library/columns", COLUMN | {"kind": "bucket"}, "kind"),
        ("library/resins", RESIN | {"chemistry": "magic"}, "chemistry"),
        ("library/lots", {"resin": "none such", "lot_number": "1"}, "resin"),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(
    program: Program, path: str, content: dict[str, Any], where: str
):
    before = program.site.counts()
    refused = program.post(path, content)
    assert refused.status_code in (404, 422)
    assert where in refused.json()["where"]
    assert program.site.counts() == before
