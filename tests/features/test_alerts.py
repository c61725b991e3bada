"""Alerts: one for each event, raised with its run, worsened once, followed by people who say why."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from sqlalchemy.orm import Session
from tests import builders, sites
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.accounts import service as accounts
from beadline.features.alerts import service as alerts
from beadline.kit import clock
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import Alert, User

NOW = clock.now()
SAID = "Looked at the frit."


@pytest.fixture
def raised(life: Site) -> Site:
    """A site whose bed cracks slowly: raised at the alert level, its alert has reached the action level."""
    sites.crack_slowly(life, "action", after=sites.crack_slowly(life, "alert"))
    return life


@pytest.fixture
def opened(raised: Site):
    """A session on that site, rolled back."""
    with Session(raised.engine) as session:
        yield session
        session.rollback()


@pytest.fixture
def alert(opened: Session) -> Alert:
    return alerts.get(opened, 1)


@pytest.fixture
def by(opened: Session) -> User:
    return next(user for user in accounts.everyone(opened) if user.role == "quality")


def step(
    opened: Session, name: str, alert: Alert, by: User, at=NOW, comment: str = SAID, **more: Any
) -> Alert:
    getattr(alerts, name)(opened, alert, comment=comment, by=by, at=at, **more)
    opened.flush()
    opened.expire_all()
    return alerts.get(opened, alert.id)


def test_one_event_is_one_alert_that_worsens_once(raised: Site):
    with raised.engine.connect() as connection:
        found = connection.exec_driver_sql("select * from alerts").mappings().all()
        events = connection.exec_driver_sql("select did from alert_events order by id").scalars().all()
        said = connection.exec_driver_sql(
            "select said from records where thing = 'alert' order by id"
        ).scalars()
        assert len(found) == 1
        assert events == ["raised", "worsened"]
        assert [text.split(",")[0] for text in said] == ["Plover", "Plover"]
    assert found[0]["level"] == "action"
    assert found[0]["since_low"] <= found[0]["since_cycle"] <= found[0]["since_high"]


def test_an_alert_holds_evidence_and_causes_with_a_check(alert: Alert):
    assert alert.headline
    assert alert.evidence[0]["size"] >= alert.evidence[-1]["size"]
    sizes = [abs(line["size"]) for line in alert.evidence]
    assert sizes == sorted(sizes, reverse=True)
    for cause in alert.causes:
        assert cause["check"]
        assert cause["cure"]
        assert cause["source"]


def test_acknowledging_needs_a_comment(opened: Session, alert: Alert, by: User):
    for comment in ("", "  \n"):
        with pytest.raises(Invalid, match="A comment is missing"):
            alerts.acknowledge(opened, alert, comment=comment, by=by, at=NOW)
    assert alert.status == "raised"
    with pytest.raises(Invalid, match="too long"):
        alerts.acknowledge(opened, alert, comment="x" * 4001, by=by, at=NOW)


def test_an_alert_is_acknowledged_once_then_closed(opened: Session, alert: Alert, by: User):
    with pytest.raises(Conflict, match="This alert is raised"):
        alerts.close(opened, alert, comment=SAID, by=by, at=NOW)
    held = step(opened, "acknowledge", alert, by)
    with pytest.raises(Conflict, match="acknowledged already"):
        alerts.acknowledge(opened, held, comment=SAID, by=by, at=NOW)
    closed = step(opened, "close", held, by, comment="Bed repacked.")
    assert closed.status == "closed"
    assert [event.did for event in closed.events] == ["raised", "worsened", "acknowledged", "closed"]
    assert closed.events[-1].comment == "Bed repacked."
    with pytest.raises(Conflict, match="This alert is closed"):
        alerts.shelve(opened, closed, days=3, comment=SAID, by=by, at=NOW)


def test_a_shelved_alert_waits_again_when_its_time_is_over(opened: Session, alert: Alert, by: User):
    shelved = step(opened, "shelve", alert, by, days=7)
    assert alerts.standing(shelved, NOW + timedelta(days=6)) == "shelved"
    assert alerts.waiting(opened, NOW + timedelta(days=6)) == 0
    later = NOW + timedelta(days=7)
    assert alerts.standing(shelved, later) == "raised"
    assert alerts.waiting(opened, later) == 1
    assert step(opened, "acknowledge", shelved, by, at=later).status == "acknowledged"


@pytest.mark.parametrize("days", [None, 0, 31])
def test_an_alert_is_shelved_for_a_month_at_most(opened: Session, alert: Alert, by: User, days: int | None):
    with pytest.raises(Invalid, match="number of days"):
        alerts.shelve(opened, alert, days=days, comment=SAID, by=by, at=NOW)


def test_every_step_is_recorded_with_its_reason(opened: Session, alert: Alert, by: User):
    alert = step(opened, "acknowledge", alert, by)
    alert = step(opened, "remark", alert, by, comment="Pulse test asks for repacking.")
    step(opened, "close", alert, by, comment="Repacked.")
    rows = opened.connection().exec_driver_sql(
        "select did, user_name, why from records where thing = 'alert' order by id"
    )
    assert [tuple(row) for row in rows][2:] == [
        ("acknowledge", "quality", SAID),
        ("comment", "quality", "Pulse test asks for repacking."),
        ("close", "quality", "Repacked."),
    ]


def test_a_worsening_alert_waits_again_for_who_acknowledged_or_shelved_it(life: Site):
    """Raised at the alert limit, acknowledged, then past the action limit: it must be seen again."""
    raised_in = sites.crack_slowly(life, "alert")
    life.visitor("quality").post("/alerts/1", {"step": "acknowledge", "comment": SAID})
    sites.crack_slowly(life, "action", after=raised_in)
    found = life.client.get("/api/v1/alerts/1", headers=bearer(life.token("viewer"))).json()
    assert (found["level"], found["status"]) == ("action", "raised")


def test_a_sudden_crack_is_one_alert_raised_once_at_the_action_level(life: Site):
    credentials = bearer(life.token("operator"))
    replies = [
        life.post_run(builders.make_cycle_file(PLOVER, number), credentials=credentials).json()
        for number in range(HEALTHY + 1, HEALTHY + 5)
    ]
    assert [reply["alert"] and reply["alert"]["level"] for reply in replies] == [None, "action", None, None]


def test_an_alert_and_its_run_are_stored_together_or_not_at_all(life: Site):
    """The judgement can't be written: neither is the run nor the alert."""
    credentials = bearer(life.token("operator"))
    life.post_run(builders.make_cycle_file(PLOVER, HEALTHY + 1), credentials=credentials)
    before = life.counts()
    with life.engine.begin() as connection:
        connection.exec_driver_sql("drop table alert_events")
    life.client = type(life.client)(life.app, raise_server_exceptions=False)
    answer = life.post_run(builders.make_cycle_file(PLOVER, HEALTHY + 2), credentials=credentials)
    assert answer.status_code >= 500
    with life.engine.connect() as connection:
        for table in ("cycles", "alerts", "traces", "records", "judgements", "transitions"):
            count = connection.exec_driver_sql(f"select count(*) from {table}").scalar_one()
            assert count == before[table], table


def test_an_unknown_alert_is_not_found(opened: Session):
    with pytest.raises(NotFound):
        alerts.get(opened, 99)
