"""Programs qualify a bed, set its baseline and review it as the pages do."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from httpx import Response
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD, bearer


def get(site: Site, path: str, role: str = "viewer") -> Any:
    answer = site.client.get(f"/api/v1/{path}", headers=bearer(site.token(role)))
    assert answer.status_code == 200, answer.text
    return answer.json()


def post(site: Site, path: str, content: dict[str, Any], role: str = "engineer") -> Response:
    return site.client.post(f"/api/v1/{path}", json=content, headers=bearer(site.token(role)))


def plover(site: Site) -> int:
    """Return the id of Plover's packing."""
    number: int = get(site, "packings?column=Plover")[0]["id"]
    return number


def post_pulse(site: Site, **given: str) -> Response:
    file = builders.make_pulse_file(PLOVER)
    facts = {"injection_ml": "16", "performed_at": "2031-01-01T08:00", "tracer": "salt"} | given
    return site.client.post(
        f"/api/v1/packings/{plover(site)}/pulse-tests",
        data=facts,
        files={"file": (file.filename, file.content)},
        headers=bearer(site.token("operator")),
    )


def test_a_pulse_test_qualifies_a_bed_until_it_is_voided(site: Site):
    packed = get(site, f"packings/{plover(site)}")["packed_at"]
    made = post_pulse(site, performed_at=packed)
    assert made.status_code == 201, made.text
    told = made.json()
    assert told["verdict"] == "pass"
    # HETP = bed height / plates (USP <621>): the two stored numbers must agree
    results = told["results"]
    height_m = get(site, f"packings/{plover(site)}")["bed_height_mm"] / 1000
    assert results["hetp_half_height"]["unit"] == "m"
    assert results["hetp_half_height"]["value"] == pytest.approx(
        height_m / results["plates_half_height"]["value"], rel=1e-9
    )
    condition = {one["name"]: one["condition"] for one in get(site, "columns")["columns"]}
    assert condition["Plover"] != "not qualified"
    voided = post(site, f"pulse-tests/{told['id']}/void", {"reason": "Wrong column."}).json()
    assert (voided["voided"], voided["void_reason"]) == (True, "Wrong column.")
    (line,) = get(site, f"packings/{plover(site)}/pulse-tests")
    assert line["voided"] is True
    assert get(site, "columns")["columns"][1]["condition"] == "not qualified"


@pytest.mark.parametrize(
    ("given", "where"), [({"injection_ml": "0"}, "injection_ml"), ({"performed_at": ""}, "performed_at")]
)
def test_a_pulse_test_without_its_facts_is_refused(site: Site, given: dict[str, str], where: str):
    refused = post_pulse(site, **given)
    assert refused.status_code == 422
    assert where in refused.json()["where"]


def test_a_baseline_is_tried_then_saved(life: Site):
    address = f"packings/{plover(life)}/baseline"
    before = get(life, address)
    limits = {"pressure_drop_pa": {"alert_high": 1e5, "action_high": 1.5e5}}
    wanted = {"baseline_cycles": HEALTHY - 5, "fixed_limits": limits}
    tried = post(life, f"{address}/trial", wanted).json()
    assert tried["settings"]["baseline_cycles"] == HEALTHY - 5
    assert len(tried["changes"]) >= 2
    assert get(life, address) == before
    other = post(life, address, {"baseline_cycles": 9, "seal": tried["seal"], "reason": "x"})
    assert (other.status_code, other.json()["code"]) == (409, "not-shown")
    saved = post(life, address, wanted | {"seal": tried["seal"], "reason": "Procedure."}, role="quality")
    assert saved.status_code == 201, saved.text
    assert saved.json()["versions"][0]["reason"] == "Procedure."
    assert saved.json()["settings"]["fixed_limits"]["pressure_drop_pa"]["action_high"] == 1.5e5


def test_fixing_a_baseline_takes_the_password_again(life: Site):
    address = f"packings/{plover(life)}/baseline"
    seal = post(life, f"{address}/trial", {"fix": True}).json()["seal"]
    saving = {"fix": True, "seal": seal, "reason": "Qualified."}
    assert post(life, address, saving | {"password": "not this"}).status_code == 422
    saved = post(life, address, saving | {"password": PASSWORD})
    assert saved.status_code == 201, saved.text
    assert saved.json()["versions"][0]["signed"] == "signed"


@pytest.mark.parametrize(
    ("wanted", "where"),
    [
        ({"one_false_alarm_in": 500, "action_one_in": 100}, "action_one_in"),
        ({"fixed_limits": {"colour": {}}}, "fixed_limits"),
        ({"fixed_limits": {"pressure_drop_pa": {"alert_high": 2, "action_high": 1}}}, "fixed_limits"),
        ({"baseline_cycles": 3}, "baseline_cycles"),
    ],
)
def test_settings_that_cannot_be_are_refused(life: Site, wanted: dict[str, Any], where: str):
    refused = post(life, f"packings/{plover(life)}/baseline/trial", wanted)
    assert refused.status_code == 422
    assert where in refused.json()["where"]


def test_a_campaign_is_announced_reviewed_decided_and_approved(life: Site):
    starts_on = date.today() + timedelta(days=3)
    campaign = {"packing_id": plover(life), "product": "Mudase", "cycles": 12, "starts_on": str(starts_on)}
    announced = post(life, "planned-campaigns", campaign)
    assert announced.status_code == 201, announced.text
    assert "review" in {one["what"] for one in get(life, "calendar")}
    made = post(life, "campaign-reviews", campaign)
    assert made.status_code == 201, made.text
    review = f"campaign-reviews/{made.json()['id']}"
    decided = {"decision": "use", "reason": "In limits.", "password": "not this"}
    assert post(life, f"{review}/decision", decided).status_code == 422
    assert post(life, f"{review}/decision", decided | {"password": PASSWORD}).json()["state"] == "decided"
    assert post(life, f"{review}/approval", {"password": PASSWORD}).status_code == 403  # not of quality
    whole = post(life, f"{review}/approval", {"password": PASSWORD}, role="quality").json()
    assert whole["state"] == "approved"
    assert [one["broken"] for one in whole["signatures"]] == ["", ""]
    assert get(life, review) == whole
    assert [one["id"] for one in get(life, "campaign-reviews")] == [whole["id"]]


def test_a_planned_campaign_is_called_off(life: Site):
    campaign = {"packing_id": plover(life), "cycles": 5, "starts_on": str(date.today())}
    number = post(life, "planned-campaigns", campaign).json()["id"]
    assert post(life, f"planned-campaigns/{number}/call-off", {"reason": "Moved."}).status_code == 200
    assert number not in {one["planned_id"] for one in get(life, "calendar")}


def test_the_audit_trail_is_read_in_pages_and_its_chain_checked(life: Site):
    trail = get(life, "records?thing=cycle")
    assert {one["thing"] for one in trail["records"]} == {"cycle"}
    ids = [one["id"] for one in trail["records"]]
    assert ids == sorted(ids, reverse=True)
    assert len(ids) >= HEALTHY
    assert get(life, "records/chain") == {"holds": True, "broken_at": None, "reason": ""}
    assert get(life, "records?since=2100-01-01")["records"] == []


def test_a_wrong_event_is_corrected_and_stays(life: Site):
    events = f"packings/{plover(life)}/events"
    noted = {"kind": "cleaned in place", "happened_at": "2026-01-05T08:00:00Z", "after_cycle": 3}
    first = post(life, events, noted)
    assert first.status_code == 201, first.text
    right = {"event": noted | {"after_cycle": 4}, "reason": "It was after the fourth."}
    second = post(life, f"{events}/{first.json()['id']}/correct", right).json()
    assert (second["after_cycle"], second["replaces"]) == (4, first.json()["id"])
    gone = post(life, f"{events}/{second['id']}/correct", {"reason": "It was another bed's."}).json()
    assert (gone["id"], gone["voided"]) == (second["id"], True)
    assert [one["voided"] for one in get(life, events)] == [True, True]
