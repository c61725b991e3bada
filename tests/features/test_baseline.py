"""Baseline and limits of a bed: shown first, saved with a reason, signed, and every version kept."""

from __future__ import annotations

import re
from typing import Any

import pytest
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD, Visitor, bearer

from beadline.features.drift import queries
from beadline.features.drift import service as drift

pytestmark = pytest.mark.every_dialect

PAGE = "/packings/1/baseline"
USUAL = {
    "baseline_cycles": "15",
    "baseline_start": "1",
    "one_false_alarm_in": "450",
    "action_one_in": "4500",
}


def post_runs(site: Site, numbers: list[int]) -> None:
    credentials = bearer(site.token("operator"))
    for number in numbers:
        file = builders.make_cycle_file(PLOVER, number)
        answer = site.post_run(file, credentials=credentials, number=str(number))
        assert answer.status_code == 201, answer.text


def rows(site: Site, said: str) -> list[dict[str, Any]]:
    with site.engine.connect() as connection:
        return [dict(row) for row in connection.exec_driver_sql(said).mappings()]


def show(visitor: Visitor, form: dict[str, str], status: int = 200) -> str:
    return visitor.send(PAGE, USUAL | form | {"do": "show"}, status)


def save(visitor: Visitor, form: dict[str, str], status: int = 303) -> str:
    """Look at what it would change, then save it."""
    seal = re.search(r'name="seal" value="(\w+)"', show(visitor, form))
    assert seal, "nothing was shown"
    return visitor.send(
        PAGE, USUAL | {"reason": "Requalified."} | form | {"do": "save", "seal": seal[1]}, status
    )


def text_of(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())


def test_looking_at_other_limits_says_what_they_would_change_and_changes_nothing(life: Site):
    before = life.counts()
    said = text_of(show(life.visitor("engineer"), {"hetp_moments_action_high": "0.0001"}))
    assert "HETP from moments (wash to strip), by procedure, action, at most: none 0.0001 cm" in said
    assert f"in limits {HEALTHY} 0" in said
    assert f"past action limit 0 {HEALTHY}" in said
    assert "A new alert of cycle 1 would be raised at the action limit" in said
    after = life.counts()
    for table in ("sign_ins", "records"):  # signing in is recorded
        before.pop(table), after.pop(table)
    assert after == before


def test_limits_by_procedure_are_saved_as_a_version_and_judge_the_life_anew(life: Site):
    page = text_of(save(life.visitor("engineer"), {"hetp_moments_action_high": "0.0001"}))
    assert "limits by procedure for HETP from moments (wash to strip)" in page
    assert "version 2" in page
    assert {row["verdict"] for row in rows(life, "select verdict from judgements")} == {"past action limit"}
    (alert,) = rows(life, "select * from alerts")
    assert alert["level"] == "action"
    record = rows(life, "select * from records where thing = 'baseline'")[-1]
    assert (record["did"], record["why"]) == ("change", "Requalified.")
    versions = rows(life, "select version, reason, signed_sha256 from baselines order by version")
    assert [(row["version"], row["reason"]) for row in versions] == [
        (1, "Shipped defaults"),
        (2, "Requalified."),
    ]
    assert versions[1]["signed_sha256"] is None


def test_the_stored_limits_are_in_the_units_of_the_trace(life: Site):
    save(life.visitor("quality"), {"hetp_moments_alert_high": "0.5", "pressure_drop_pa_action_high": "2,5"})
    with life.writing() as session:
        version = queries.baseline(session, 1)
        assert version is not None
        limits = version.settings["fixed_limits"]
    assert limits["wash to strip/hetp_moments"]["alert_high"] == pytest.approx(0.005)  # m
    assert limits["pressure_drop_pa"]["action_high"] == pytest.approx(250_000)  # Pa


def test_an_acknowledged_alert_keeps_number_comments_and_evidence(life: Site):
    post_runs(life, [HEALTHY + 1, HEALTHY + 2, HEALTHY + 3])
    life.visitor("quality").post("/alerts/1", {"step": "acknowledge", "comment": "Seen."})
    before = rows(life, "select * from alerts")
    events = rows(life, "select * from alert_events order by id")
    save(life.visitor("engineer"), {"baseline_cycles": "10", "one_false_alarm_in": "900"})
    after = rows(life, "select * from alerts")
    kept = ("id", "level", "status", "since_cycle", "headline", "sentence", "evidence", "causes", "score")
    assert [{name: one[name] for name in kept} for one in after] == [
        {name: one[name] for name in kept} for one in before
    ]
    assert rows(life, "select * from alert_events order by id") == events


def test_an_alert_without_its_event_is_told_before_and_stays(life: Site):
    post_runs(life, [HEALTHY + 1, HEALTHY + 2])
    engineer = life.visitor("engineer")
    form = {"baseline_start": str(HEALTHY + 1)}
    said = text_of(show(engineer, form))
    assert "Alert 1 of cycle" in said
    assert "would have no event behind it" in said
    save(engineer, form)
    (alert,) = rows(life, "select status, returned from alerts")
    assert (alert["status"], bool(alert["returned"])) == ("raised", True)


def test_a_fixed_baseline_is_signed_and_keeps_its_cycles(life: Site):
    with life.writing() as session:
        learnt = drift.baseline_cycles(queries.bed_state_to_go_on(session, 1))
    page = text_of(save(life.visitor("quality"), {"fix": "yes", "password": PASSWORD}))
    assert "fixed and signed by Quality on" in page
    assert "Fixed: not fixed cycles 1 to" in page
    record = rows(life, "select did, why, said from records where thing = 'baseline'")[-1]
    assert record["did"] == "sign"
    cycle = rows(life, "select id from cycles where number = 3")[0]["id"]
    life.visitor("engineer").post(f"/cycles/{cycle}/void", {"reason": "Wrong batch."})
    with life.writing() as session:
        now = drift.baseline_cycles(queries.bed_state_to_go_on(session, 1))
    assert now == tuple(number for number in learnt if number != 3)  # none is taken in its place


def test_a_signature_does_not_fit_what_was_altered(life: Site):
    save(life.visitor("quality"), {"fix": "yes", "password": PASSWORD})
    viewer = life.visitor("viewer")
    assert "not what was signed" not in viewer.page(PAGE)
    with life.engine.begin() as connection:
        connection.exec_driver_sql("update baselines set reason = 'Another' where version = 2")
    assert "not what was signed" in viewer.page(PAGE)


def test_nobody_signs_with_a_wrong_password_and_a_try_is_counted(life: Site):
    page = save(life.visitor("quality"), {"fix": "yes", "password": "an egret stands in the reeds"}, 422)
    assert "This is not your password." in page
    assert life.counts()["baselines"] == 1
    assert rows(life, "select failed_sign_ins from users where name = 'quality'")[0]["failed_sign_ins"] == 1


@pytest.mark.parametrize(
    ("form", "said"),
    [
        ({"baseline_cycles": "7"}, "“7” is not possible here."),
        ({"baseline_cycles": "15.5"}, "is not a whole number"),
        ({"one_false_alarm_in": "5000"}, "would alarm more often"),
        ({"asymmetry_alert_high": "2", "asymmetry_action_high": "1.8"}, "contradict each other"),
        ({"mean_cv_alert_low": "wide"}, "is not a number"),
        ({"baseline_start": str(HEALTHY), "fix": "yes"}, "not complete"),
    ],
)
def test_what_can_not_be_meant_is_refused_with_its_field(life: Site, form: dict[str, str], said: str):
    assert said in show(life.visitor("engineer"), form, 422)


def test_only_what_was_shown_is_saved_and_only_with_a_reason(life: Site):
    engineer = life.visitor("engineer")
    seal = re.search(r'name="seal" value="(\w+)"', show(engineer, {"baseline_cycles": "12"}))
    assert seal
    other = USUAL | {"baseline_cycles": "13", "reason": "x", "do": "save", "seal": seal[1]}
    assert "not the settings whose effect was shown" in engineer.send(PAGE, other, 409)
    save(engineer, {"baseline_cycles": "12", "reason": " "}, 422)
    save(engineer, {}, 422)
    assert life.counts()["baselines"] == 1


def test_the_baseline_of_an_unpacked_bed_stays(life: Site):
    engineer = life.visitor("engineer")
    page = show(engineer, {"baseline_cycles": "12"})
    seal = re.search(r'name="seal" value="(\w+)"', page)
    assert seal
    engineer.post("/packings/1/unpack", {"reason": "Worn."})
    form = USUAL | {"baseline_cycles": "12", "reason": "x", "do": "save", "seal": seal[1]}
    assert "This bed was unpacked." in engineer.send(PAGE, form, 409)
    assert 'name="baseline_cycles"' not in engineer.page(PAGE)


def test_everybody_sees_the_versions_and_few_may_add_one(life: Site):
    page = life.visitor("viewer").page(PAGE)
    assert "Shipped defaults" in page
    assert 'name="baseline_cycles"' not in page
    assert life.visitor("operator").post(PAGE, USUAL | {"do": "show"}).status_code == 403
