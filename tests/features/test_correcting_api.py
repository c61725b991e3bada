"""Programs void, leave out and take back runs as the pages do."""

from __future__ import annotations

from tests.builders import HEALTHY
from tests.sites import Site
from tests.visitors import bearer


def newest(site: Site) -> int:
    """Return the id of Plover's newest cycle, as a program finds it."""
    address = "/api/v1/columns/Plover/cycles"
    return site.client.get(address, headers=bearer(site.token("viewer"))).json()["cycles"][-1]["id"]


def test_a_run_is_left_out_taken_back_and_voided(life: Site):
    cycle, headers = newest(life), bearer(life.token("engineer"))
    for step, still in (("exclude", HEALTHY), ("count-again", HEALTHY), ("void", HEALTHY - 1)):
        answer = life.client.post(f"/api/v1/cycles/{cycle}/{step}", json={"reason": "Check"}, headers=headers)
        assert answer.status_code == 200, answer.text
        assert answer.json()["cycles"] == still, step
    again = life.client.post(f"/api/v1/cycles/{cycle}/void", json={"reason": "Twice"}, headers=headers)
    assert again.status_code == 409


def test_a_correction_needs_a_reason_and_an_engineer(life: Site):
    cycle = newest(life)
    for role, reason, status in (("engineer", " ", 422), ("operator", "Wrong batch.", 403)):
        headers = bearer(life.token(role))
        answer = life.client.post(f"/api/v1/cycles/{cycle}/void", json={"reason": reason}, headers=headers)
        assert answer.status_code == status
        assert answer.json()["mend"]
