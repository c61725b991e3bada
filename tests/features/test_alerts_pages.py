"""The pages Alerts and Alert, the count in the head of every page, and the same for programs."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from datetime import timedelta
from html import unescape

import numpy as np
import pytest
from tests import sites
from tests.builders import HEALTHY
from tests.sites import Site
from tests.visitors import Visitor, basic, bearer

from beadline.features.accounts import queries as accounts
from beadline.features.alerts import service as alerts
from beadline.features.drift import queries as drift_queries
from beadline.features.transitions import queries as transition_queries
from beadline.kit import clock
from beadline.store.tables import Alert

WAITING = '<span class="count">1<'
LATEST = HEALTHY + 5


@pytest.fixture
def raised(open_site: Callable[..., Site]) -> Site:
    """A site whose one alert, of Plover, has reached the action level."""
    return open_site(sites.fill_cracked_life)


@pytest.fixture
def operator(raised: Site) -> Visitor:
    return raised.visitor("operator")


def step(visitor: Visitor, name: str, comment: str, status: int = 303, **more: str) -> str:
    return unescape(visitor.send("/alerts/1", {"step": name, "comment": comment} | more, status))


def test_every_page_counts_the_alerts_that_wait(operator: Visitor):
    for path in ("/", "/library", "/records", "/alerts"):
        assert WAITING in operator.page(path)
    step(operator, "acknowledge", "seen")
    assert 'class="count"' not in operator.page("/library")


def test_an_alert_shows_what_moved_from_where_to_where(raised: Site, operator: Visitor):
    """Here from the stored results: the latest cycle's, and the mean of the baseline cycles."""
    with raised.writing() as session:
        alert = alerts.get(session, 1)
        lines = {line.key: line for line in alerts.evidence_of(session, alert)}
        key = next(key for key in lines if key.endswith("/hetp_moments"))
        rows = [
            row
            for row in transition_queries.of_packing(session, alert.packing_id)
            if row.name == key.split("/")[0]
        ]
        hetp_cm = [100 * row.estimates["hetp_moments"][0] for row in rows]
        standing = drift_queries.bed_state_to_go_on(session, alert.packing_id)
        assert standing is not None
        baseline = np.mean([hetp_cm[n - 1] for n in standing.state["baseline"]["cycles"]])
    line = lines[key]
    assert float(line.now) == pytest.approx(hetp_cm[-1], rel=0.005)
    assert float(line.baseline) == pytest.approx(baseline, rel=0.02)
    assert float(line.change.split()[0]) == pytest.approx(100 * (hetp_cm[-1] / baseline - 1), abs=3)
    assert line.unit == "cm"
    assert line.kind == "act"
    page = operator.page("/alerts/1")
    assert f"Cycle {LATEST}</th>" in page
    assert f">{line.baseline}</td>" in page
    assert f"<span>{line.now} " in page


def test_what_has_no_unit_is_shown_as_a_shift_alone(raised: Site):
    with raised.writing() as session:
        lines = alerts.evidence_of(session, alerts.get(session, 1))
    curve = [line for line in lines if "/curve_" in line.key]
    assert curve
    assert all((line.baseline, line.now, line.unit) == ("", "", "") and line.shift_sd for line in curve)


def test_an_alert_names_causes_checks_and_who_logged_the_run(operator: Visitor):
    page = operator.page("/alerts/1")
    for text in (
        "Channel or crack",
        "For it:",
        "Check:",
        "Candidates, not a diagnosis.",
        "with a run logged by",
    ):
        assert text.lower() in page.lower()


def test_an_alert_is_acknowledged_then_closed_and_says_by_whom(operator: Visitor):
    assert "A comment is missing" in step(operator, "acknowledge", " ", 422)
    assert "An alert is acknowledged first" in step(operator, "close", "all is well", 409)
    step(operator, "acknowledge", "adapter looked at")
    assert "acknowledged already" in step(operator, "acknowledge", "me too", 409)
    assert "by Operator" in operator.page("/alerts")
    page = step(operator, "close", "repacked")
    assert "adapter looked at" in page
    assert "repacked" in page
    assert "No alert here" in operator.page("/alerts?status=open")
    assert "/alerts/1" in operator.page("/alerts?status=closed")
    assert "Closed the alert of Plover, packing 1," in operator.page("/records?thing=alert")


def test_what_was_typed_is_kept_when_a_step_is_refused(operator: Visitor):
    page = step(operator, "shelve", "after the campaign", 422, shelve_days="90")
    assert "number of days" in page
    assert "after the campaign</textarea>" in page
    assert 'value="90"' in page


def test_a_shelved_alert_comes_back_by_itself(raised: Site, operator: Visitor):
    step(operator, "shelve", "after the campaign", shelve_days="3")
    assert "shelved" in operator.page("/alerts")
    assert 'class="count"' not in operator.page("/alerts")
    with raised.writing() as session:  # time passes
        session.get_one(Alert, 1).shelved_until = clock.now() - timedelta(minutes=1)
    page = operator.page("/alerts/1")
    assert WAITING in page
    assert "Acknowledge</button>" in page
    assert "acknowledged first" in step(operator, "close", "nothing to do", 409)
    step(operator, "acknowledge", "taking it up")


def test_a_viewer_sees_but_does_not_handle(raised: Site):
    viewer = raised.visitor("viewer")
    assert "What do you do?" not in viewer.page("/alerts/1")
    step(viewer, "acknowledge", "seen", 403)


def test_an_unknown_step_or_alert_is_refused(operator: Visitor):
    assert "There is no step" in step(operator, "forget", "x", 422)
    operator.page("/alerts/9", 404)


def test_a_program_lists_and_reads_alerts(raised: Site):
    answer = raised.client.get("/api/v1/alerts", headers=bearer(raised.token("viewer")))
    assert answer.status_code == 200
    (line,) = answer.json()
    assert (line["column"], line["packing"], line["level"], line["status"]) == (
        sites.PLOVER.column.asset_tag,
        1,
        "action",
        "raised",
    )
    whole = raised.client.get(f"/api/v1/alerts/{line['id']}", headers=basic("viewer")).json()
    assert {name: whole[name] for name in line} == line
    assert whole["since_low"] <= whole["since_cycle"] <= whole["since_high"]
    assert [event["did"] for event in whole["events"]] == ["raised"]
    assert whole["causes"][0]["code"] == "channel"
    assert whole["evidence"][0]["key"] == alert_keys(raised)[0]
    closed = raised.client.get("/api/v1/alerts?status=closed", headers=basic("viewer"))
    assert closed.json() == []


def alert_keys(site: Site) -> list[str]:
    with site.writing() as session:
        return [one["key"] for one in alerts.get(session, 1).evidence]


def test_a_program_acknowledges_with_a_comment(raised: Site, operator: Visitor):
    headers = bearer(raised.token("quality"))
    answer = raised.client.post(
        "/api/v1/alerts/1/acknowledge", json={"comment": "Pulse test asked for."}, headers=headers
    )
    assert answer.status_code == 200
    assert answer.json()["status"] == "acknowledged"
    page = operator.page("/alerts/1")
    assert re.search(r"Acknowledged</b>.*by Quality", page)
    assert "Pulse test asked for." in page
    again = raised.client.post("/api/v1/alerts/1/acknowledge", json={"comment": "x"}, headers=headers)
    assert (again.status_code, again.json()["code"]) == (409, "conflict")


@pytest.mark.parametrize(
    ("role", "body", "status"),
    [("operator", {"comment": " "}, 422), ("operator", {}, 422), ("viewer", {"comment": "seen"}, 403)],
)
def test_a_program_is_refused_in_problem_details(raised: Site, role: str, body: dict[str, str], status: int):
    answer = raised.client.post("/api/v1/alerts/1/acknowledge", json=body, headers=bearer(raised.token(role)))
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert raised.counts()["alert_events"] == 1


def test_a_program_needs_credentials_and_an_alert_that_exists(raised: Site):
    assert raised.client.get("/api/v1/alerts").status_code == 401
    assert raised.client.get("/api/v1/alerts/9", headers=basic("viewer")).status_code == 404
    assert raised.client.get("/api/v1/alerts?status=odd", headers=basic("viewer")).status_code == 422


PNG = b"\x89PNG\r\n\x1a\n" + b"the rest of an invented picture"


def picture(visitor: Visitor, content: bytes, status: int = 303) -> str:
    answer = visitor.client.post(
        "/alerts/1/pictures",
        data={
            "csrf_token": re.search(r'name="csrf_token" value="([^"]+)"', visitor.page("/alerts/1")).group(1)
        },  # type: ignore[union-attr]
        files={"picture": ("crack.png", content)},
        follow_redirects=False,
    )
    assert answer.status_code == status
    return unescape(visitor.page("/alerts/1") if status == 303 else answer.text)


def test_an_alert_is_given_to_somebody_who_may_handle_it(raised: Site, operator: Visitor):
    page = unescape(operator.page("/alerts/1"))
    assert "assigned to nobody" in page
    offered = dict(re.findall(r'<option value="(\d+)"[^>]*>([^<]+)<', page.split('name="assigned_to"')[1]))
    assert "Viewer" not in offered.values()
    engineer = next(number for number, name in offered.items() if name == "Engineer")
    page = unescape(operator.send("/alerts/1/holder", {"assigned_to": engineer}))
    assert "assigned to Engineer" in page
    assert "Assigned to Engineer." in page
    assert "assigned to Engineer" in operator.page("/alerts")
    assert "to Engineer" in raised.visitor("engineer").page("/records?thing=alert")
    with raised.writing() as session:
        viewer = next(user for user in accounts.users(session) if user.role == "viewer").id
    operator.send("/alerts/1/holder", {"assigned_to": str(viewer)}, 422)
    operator.send("/alerts/1/holder", {"assigned_to": "999"}, 422)
    assert "assigned to nobody" in operator.send("/alerts/1/holder", {"assigned_to": ""})


def test_a_picture_is_kept_as_it_came_with_its_hash(raised: Site, operator: Visitor):
    page = picture(operator, PNG)
    assert hashlib.sha256(PNG).hexdigest() in page
    answer = raised.visitor("viewer").get("/alerts/1/pictures/1")
    assert answer.content == PNG
    assert answer.headers["content-type"] == "image/png"
    operator.page("/alerts/1/pictures/9", 404)


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"<svg onload='x()'>", "no picture"), (PNG + bytes(8_000_000), "too large")],
)
def test_what_is_no_picture_or_too_large_is_refused(
    raised: Site, operator: Visitor, content: bytes, said: str
):
    assert said in picture(operator, content, 422)
    assert raised.counts()["alert_pictures"] == 0


def test_the_curve_stands_beside_the_evidence(operator: Visitor):
    assert f"cycle {LATEST}, over the baseline envelope" in operator.page("/alerts/1")
