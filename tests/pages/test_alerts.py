"""Handle an alert: see it, acknowledge, shelve, close; what is said stays; nothing here is of any plant."""

from __future__ import annotations

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlalchemy.orm import Session
from tests.pages.conftest import Visitor
from tests.pages.test_library_and_packings import PACKING, fill_the_library

from beadline.kit import clock
from beadline.store.tables import Alert, AlertEvent, Cycle, Trace

EVIDENCE = [{"key": f"metric {i}", "label": f"metric {i}", "size": 9.5 - i} for i in range(12)]
CAUSE = {
    "code": "by_pass",
    "name": "flow past the bed",
    "match": 0.8,
    "because": ["early foot"],
    "against": [],
    "check": "Repeat the pulse test.",
    "cure": "Repack.",
    "source": "common practice, no source",
}


@pytest.fixture
def raised(engineer: Visitor, client: TestClient) -> Visitor:
    """An engineer, and one alert of one cycle."""
    fill_the_library(engineer)
    engineer.post("/packings", PACKING)
    now = clock.now()
    with client.app.state.new_session.begin() as session:  # type: ignore[attr-defined]
        _raise(session, now)
    return engineer


def _raise(session: Session, now: object) -> None:
    trace = Trace(
        sha256="0" * 64, filename="run.csv", size_bytes=1, content=b"x", received_at=now, received_by_id=1
    )
    session.add(trace)
    session.flush()
    cycle = Cycle(
        packing_id=1,
        number=7,
        batch="",
        started_at=now,
        trace_id=trace.id,
        profile={},
        conditions={},
        came_by="page",
        note="",
        logged_by_id=1,
        logged_at=now,
        void_reason="",
    )
    session.add(cycle)
    session.flush()
    alert = Alert(
        packing_id=1,
        episode=1,
        level="action",
        status="raised",
        raised_at=now,
        raised_by_cycle_id=cycle.id,
        latest_cycle_id=cycle.id,
        since_cycle=5,
        since_low=4,
        since_high=6,
        score=12.5,
        headline="HETP is up.",
        sentence="The bed has changed since about cycle 5.",
        evidence=EVIDENCE,
        causes=[CAUSE],
        returned=False,
    )
    session.add(alert)
    session.flush()
    session.add(AlertEvent(alert_id=alert.id, at=now, user_id=1, did="raised", comment=""))


def step(visitor: Visitor, name: str, comment: str, status: int = 200, **more: str) -> str:
    return visitor.post("/alerts/1", {"step": name, "comment": comment} | more, status)


def test_every_page_counts_the_alerts_that_wait(raised: Visitor) -> None:
    assert '<span class="count">1<' in raised.get("/library")
    step(raised, "acknowledge", "seen")
    assert 'class="count"' not in raised.get("/library")


def test_an_alert_shows_evidence_causes_and_history(raised: Visitor) -> None:
    page = raised.get("/alerts/1")
    for text in ("HETP is up.", "between 4 and 6", "metric 11", "−1.5", "flow past the bed", "Candidates"):
        assert text in page


def test_an_alert_is_acknowledged_then_closed_and_says_by_whom(raised: Visitor) -> None:
    assert "A comment is missing" in step(raised, "acknowledge", " ", 422)
    assert "An alert is acknowledged first" in step(raised, "close", "all is well", 409)
    step(raised, "acknowledge", "adapter looked at")
    assert "acknowledged already" in step(raised, "acknowledge", "me too", 409)
    assert "by Engineer" in raised.get("/alerts")
    page = step(raised, "close", "repacked")
    assert "adapter looked at" in page
    assert "repacked" in page
    assert "No alert here" in raised.get("/alerts?status=open")
    assert "HETP is up." in raised.get("/alerts?status=closed")
    assert "Closed the alert of Dunlin, packing 1," in raised.get("/records?thing=alert")


def test_a_shelved_alert_waits_again_when_its_time_is_over(raised: Visitor, client: TestClient) -> None:
    assert "number of days" in step(raised, "shelve", "after the campaign", 422, shelve_days="90")
    step(raised, "shelve", "after the campaign", shelve_days="3")
    assert "shelved" in raised.get("/alerts")
    assert 'class="count"' not in raised.get("/alerts")
    with client.app.state.new_session.begin() as session:  # type: ignore[attr-defined]
        session.get(Alert, 1).shelved_until = clock.now() - timedelta(minutes=1)
    page = raised.get("/alerts/1")
    assert '<span class="count">1<' in page
    assert "Acknowledge</button>" in page
    step(raised, "acknowledge", "taking it up")


def test_a_viewer_sees_but_does_not_handle(raised: Visitor, client: TestClient) -> None:
    client.cookies.clear()
    viewer = Visitor(client, "viewer")
    assert "What do you do?" not in viewer.get("/alerts/1")
    step(viewer, "acknowledge", "seen", 403)


def test_an_unknown_step_or_alert_is_refused(raised: Visitor) -> None:
    assert "There is no step" in step(raised, "forget", "x", 422)
    raised.get("/alerts/9", 404)
