"""Programs of administrators, engineers and quality run the site as the pages do."""

from __future__ import annotations

from typing import Any

import pytest
from httpx import Response
from tests.sites import Site
from tests.visitors import PASSWORD, basic, bearer

from beadline.features.pulse_tests.schemas import SHIPPED


def get(site: Site, path: str, role: str = "viewer") -> Any:
    answer = site.client.get(f"/api/v1/{path}", headers=bearer(site.token(role)))
    assert answer.status_code == 200, answer.text
    return answer.json()


def post(site: Site, path: str, content: dict[str, Any], role: str) -> Response:
    return site.client.post(f"/api/v1/{path}", json=content, headers=bearer(site.token(role)))


def as_span(ends: tuple[float | None, float | None]) -> dict[str, float | None]:
    return {"lowest": ends[0], "highest": ends[1]}


def test_an_administrator_makes_an_account_and_lets_it_rest(site: Site):
    new = {"name": "otto", "full_name": "Otto Ried", "role": "operator"}
    made = post(site, "people", new, "administrator")
    assert made.status_code == 201, made.text
    number, password = made.json()["person"]["id"], made.json()["password"]
    first = site.client.get("/api/v1/columns", headers=basic("otto", password))
    assert first.json()["code"] == "temporary-password"
    role = post(site, f"people/{number}/role", {"role": "viewer", "reason": "Moved."}, "administrator")
    assert role.json()["role"] == "viewer"
    known = {"provider_name": "otto@example.org", "reason": "Has an account there."}
    bound = post(site, f"people/{number}/provider-name", known, "administrator").json()
    assert bound["provider_name"] == "otto@example.org"
    rest = {"active": False, "reason": "Left."}
    assert post(site, f"people/{number}/rest", rest, "administrator").json()["active"] is False
    assert site.client.get("/api/v1/columns", headers=basic("otto", password)).status_code == 401
    again = post(site, f"people/{number}/password", {"reason": "Lost it."}, "administrator").json()
    assert again["password"] != password
    assert {one["name"] for one in get(site, "people")} >= {"otto", "engineer"}
    assert {"deed": "log a run", "roles": ["operator", "engineer"]} in get(site, "people/deeds")


def test_a_route_is_added_changed_tested_and_switched_off(site: Site):
    new = {"name": "Shift", "kind": "webhook", "target": "https://hooks.example.org/in/a1b2"}
    made = post(site, "notice-routes", new, "engineer")
    assert made.status_code == 201, made.text
    route, secret = made.json()["route"], made.json()["secret"]
    assert secret
    assert "a1b2" not in made.text.replace(secret, "")  # an address may hold a secret
    other = {"name": "Shift lead", "kind": "webhook", "least_level": "action"}
    changed = post(site, f"notice-routes/{route['id']}", other, "engineer").json()
    assert (changed["route"]["name"], changed["secret"]) == ("Shift lead", "")
    assert post(site, f"notice-routes/{route['id']}/test", {}, "engineer").status_code == 202
    (delivery,) = get(site, f"notice-routes/{route['id']}/deliveries")
    assert delivery["event"] == "test"
    off = post(site, f"notice-routes/{route['id']}/switch", {"on": False}, "engineer")
    assert off.json()["enabled"] is False
    assert [one["name"] for one in get(site, "notice-routes")] == ["Shift lead"]


def test_quality_signs_a_review_of_the_records(site: Site):
    waits = get(site, "record-reviews")
    assert (waits["first_waiting"], waits["reviews"]) == (1, [])
    signing = {"upto": waits["last_record"], "note": "Nothing odd.", "password": "not this"}
    assert post(site, "record-reviews", signing, "quality").status_code == 422
    signed = post(site, "record-reviews", signing | {"password": PASSWORD}, "quality")
    assert signed.status_code == 201, signed.text
    (review,) = signed.json()["reviews"]
    assert (review["reviewer"], review["broken"]) == ("Quality", "")


def test_a_site_chooses_its_checks_with_a_reason(site: Site):
    every = [one["name"] for one in get(site, "campaign-checks")]
    fewer = [name for name in every if name != "storage"]
    assert post(site, "campaign-checks", {"made": fewer, "reason": ""}, "engineer").status_code == 422
    chosen = post(site, "campaign-checks", {"made": fewer, "reason": "No storage here."}, "engineer").json()
    assert [one["name"] for one in chosen if not one["made"]] == ["storage"]


def test_a_site_sets_its_criteria_in_versions(site: Site):
    shipped = get(site, "library/criteria")
    assert shipped["version"] == 0
    assert shipped["asymmetry"] == as_span(SHIPPED.criteria.asymmetry)
    wanted = {name: value for name, value in shipped.items() if name != "version"}
    wanted |= {"asymmetry": as_span((0.8, 1.6)), "source": "SOP 12", "reason": "As the procedure says."}
    made = post(site, "library/criteria", wanted, "engineer")
    assert made.status_code == 201, made.text
    assert (made.json()["version"], made.json()["asymmetry"]) == (1, as_span((0.8, 1.6)))
    assert post(site, "library/criteria", wanted, "engineer").status_code == 409  # nothing would change
    wrong = wanted | {"asymmetry": as_span((1.6, 0.8))}
    assert post(site, "library/criteria", wrong, "engineer").status_code == 422


@pytest.mark.parametrize("path", ["people", "notice-routes", "record-reviews", "campaign-checks"])
def test_an_operator_runs_no_site(site: Site, path: str):
    assert post(site, path, {}, "operator").status_code == 403
