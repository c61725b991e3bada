"""The pages Notices and Route, and what an alert's page says of who was told."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from datetime import timedelta
from html import unescape

import pytest
from tests import sites
from tests.receivers import Hook
from tests.sites import Site
from tests.visitors import Visitor

from beadline.features.alerts import queries as alert_queries
from beadline.features.notices import service as notices
from beadline.features.notices.service import outbox
from beadline.kit import clock
from beadline.store.tables import Notice
from beadline.worker import Worker

MAIL = {
    "name": "Shift lead",
    "kind": "email",
    "target": "shift@example.org",
    "least_level": "alert",
    "digest_at": "07:30",
    "quiet_from": "22:00",
    "quiet_until": "06:00",
    "action_in_quiet": "yes",
}


@pytest.fixture
def hook() -> Iterator[Hook]:
    made = Hook()
    made.start()
    yield made
    made.stop()


@pytest.fixture
def raised(open_site: Callable[..., Site]) -> Site:
    return open_site(sites.fill_cracked_life)


@pytest.fixture
def engineer(raised: Site) -> Visitor:
    return raised.visitor("engineer")


def webhook(hook: Hook) -> dict[str, str]:
    return {"name": "Plant bus", "kind": "webhook", "target": hook.address, "least_level": "action"}


def secret_in(page: str) -> str:
    found = re.search(r'<p class="mono secret">([^<]+)</p>', page)
    assert found
    return found[1]


def tell(site: Site, route_id: int) -> None:
    with site.writing() as session:
        for alert in alert_queries.of_packing(session, 1):
            outbox.add(session, notices.get(session, route_id), alert, event="worsened", at=clock.now())


def test_an_empty_list_says_so_and_only_some_may_add(raised: Site, engineer: Visitor):
    assert "Nobody is told yet" in engineer.page("/library/notices")
    assert "Add a route" in engineer.page("/library/notices")
    assert "Add a route</a>" not in raised.visitor("operator").page("/library/notices")
    assert '<a href="/library/notices">Notices</a>' in engineer.page("/library")


def test_a_route_is_added_shown_and_changed(raised: Site, engineer: Visitor):
    page = unescape(engineer.send("/library/notices", MAIL))
    assert "E-mail to shift@example.org" in page
    said = "action limit at once, alert limit daily at 07:30; quiet 22:00 to 06:00, but for the action limit"
    assert said in page
    assert said in unescape(raised.visitor("viewer").page("/library/notices"))
    page = engineer.send(
        "/library/notices/1", MAIL | {"digest_at": "", "quiet_from": "", "quiet_until": "", "column": "2"}
    )
    assert "Dotterel, past the alert or the action limit · at once" in page
    records = engineer.page("/records?thing=notice+route")
    assert "Added the notice route Shift lead" in records
    assert "Changed the notice route Shift lead" in records


def test_no_mail_server_is_said_where_mail_is_wanted(engineer: Visitor):
    engineer.send("/library/notices", MAIL)
    assert "No mail server is set." in engineer.page("/library/notices")


@pytest.mark.parametrize(
    ("changed", "where", "said"),
    [
        ({"target": "shift"}, "target", "This is no address for e-mail."),
        ({"digest_at": "7 in the morning"}, "digest_at", "is not a time of day"),
        ({"quiet_until": ""}, "quiet_until", "Quiet hours have two ends."),
        ({"escalate_after_minutes": "1.5"}, "escalate_after_minutes", "is not a whole number"),
        ({"name": "x" * 81}, "name", "This is too long."),
    ],
)
def test_what_can_not_be_meant_is_said_beside_its_field(
    engineer: Visitor, raised: Site, changed: dict[str, str], where: str, said: str
):
    engineer.send("/library/notices", MAIL | {"name": "First"})
    for path in ("/library/notices", "/library/notices/1"):
        page = unescape(engineer.send(path, MAIL | changed, 422))
        assert f'id="error-{where}"' in page
        assert said in page
    assert raised.counts()["notice_routes"] == 1


def test_a_secret_is_shown_once_and_an_address_that_holds_one_never(
    raised: Site, engineer: Visitor, hook: Hook
):
    answer = engineer.post("/library/notices", webhook(hook))
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-store")
    secret = secret_in(answer.text)
    page = engineer.page("/library/notices/1")
    assert f"http://127.0.0.1:{hook.port}/…" in page
    assert "a1b2c3" not in page
    assert secret not in page
    kept = engineer.send("/library/notices/1", webhook(hook) | {"target": ""})
    assert "mono secret" not in kept
    fresh = engineer.post("/library/notices/1", webhook(hook) | {"target": "", "new_secret": "yes"})
    assert secret_in(fresh.text) != secret
    with raised.writing() as session:
        assert notices.get(session, 1).target == hook.address


def test_a_test_is_sent_for_real_and_the_page_says_what_came_of_it(
    raised: Site, engineer: Visitor, hook: Hook
):
    engineer.post("/library/notices", webhook(hook))
    engineer.send("/library/notices/1/test", {})
    waiting = engineer.get("/library/notices/1")
    assert "The test waits to be sent." in waiting.text
    assert waiting.headers["refresh"] == "2"
    worker = Worker(raised.settings)
    assert worker.step()
    assert hook.contents[0]["test"] is True
    sent = engineer.get("/library/notices/1")
    assert "The test was sent" in sent.text
    assert "refresh" not in sent.headers
    hook.status = 403
    engineer.send("/library/notices/1/test", {})
    assert worker.step()
    page = engineer.page("/library/notices/1")
    assert "The test did not get through.</b> The receiver answered with status 403." in page


def test_a_page_does_not_look_again_for_ever(raised: Site, engineer: Visitor, hook: Hook):
    engineer.post("/library/notices", webhook(hook))
    engineer.send("/library/notices/1/test", {})
    with raised.writing() as session:
        session.get_one(Notice, 1).created_at = clock.now() - timedelta(minutes=2)
    assert "refresh" not in engineer.get("/library/notices/1").headers


def test_an_alert_says_who_was_told(raised: Site, engineer: Visitor, hook: Hook):
    operator = raised.visitor("operator")
    assert "Nobody: no route wanted to hear of it" in operator.page("/alerts/1")
    engineer.post("/library/notices", webhook(hook))
    tell(raised, 1)
    assert "waiting until" in operator.page("/alerts/1")
    hook.status = 500
    worker = Worker(raised.settings)
    assert worker.step()
    page = operator.page("/alerts/1")
    assert "waiting, 1 attempt so far" in page
    assert "The receiver answered with status 500." in page
    assert "on, 1 waiting" in operator.page("/library/notices")
    hook.status = 204
    later = Worker(raised.settings, now=lambda: clock.now() + timedelta(minutes=1))
    assert later.step()
    page = operator.page("/alerts/1")
    assert f"Webhook to http://127.0.0.1:{hook.port}/…" in page
    assert re.search(r"sent <time[^>]+>[^<]+</time> at attempt 2", page)
    assert "a1b2c3" not in page


def test_a_route_is_switched_off_and_on_unless_others_lean_on_it(engineer: Visitor):
    engineer.send("/library/notices", MAIL)
    page = engineer.send("/library/notices/1/switch", {"on": "no"})
    assert "It is told nothing." in page
    assert "In use" in engineer.send("/library/notices/1/switch", {"on": "yes"})
    leaning = MAIL | {"name": "Operator on duty", "escalate_after_minutes": "30", "escalate_to": "1"}
    assert "after 30 min to Shift lead" in engineer.send("/library/notices", leaning)
    refused = engineer.send("/library/notices/1/switch", {"on": "no"}, 409)
    assert "Operator on duty escalates to this route." in refused


def test_a_message_leads_to_signing_in_and_then_to_the_alert(raised: Site):
    """Whoever follows it signs in, and may acknowledge if the role allows it."""
    answer = raised.client.get("/alerts/1", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"].endswith("/sign-in?then=%2Falerts%2F1")
    assert "Acknowledge</button>" in raised.visitor("operator").page("/alerts/1")


def signed_link(site: Site, hook: Hook) -> str:
    """The path of the link that a message to the hook held."""
    assert Worker(site.settings).step()
    (notice,) = hook.contents[-1]["notices"]
    return str(notice["acknowledge"]).removeprefix(site.settings.address)


def test_an_alert_is_acknowledged_from_its_message(raised: Site, engineer: Visitor, hook: Hook):
    engineer.post("/library/notices", webhook(hook) | {"name": "Hook"})
    tell(raised, 1)
    path = signed_link(raised, hook)
    asked = raised.client.get(path, follow_redirects=False)
    assert (asked.status_code, "/sign-in?then=%2Fnotices%2F" in asked.headers["location"]) == (303, True)
    operator = raised.visitor("operator")
    assert "Acknowledge</button>" in operator.page(path)
    assert "Say what you saw" in unescape(operator.send(path, {"comment": " "}, 422))
    page = unescape(operator.send(path, {"comment": "I stop the train."}))
    assert "I stop the train. (from the message to Hook)" in page
    assert "acknowledged already" in operator.page(path)
    assert "Acknowledge</button>" not in operator.page(path)
    assert "acknowledged already" in unescape(operator.send(path, {"comment": "Me too."}, 409))


def test_a_link_that_was_made_up_leads_nowhere(raised: Site, engineer: Visitor, hook: Hook):
    engineer.post("/library/notices", webhook(hook) | {"name": "Hook"})
    tell(raised, 1)
    path = signed_link(raised, hook)
    operator = raised.visitor("operator")
    place, _, signature = path.rpartition("/")
    other = f"{'0' if signature[0] != '0' else '1'}{signature[1:]}"
    for wrong in (f"{place}/{other}", f"/notices/2/{signature}", f"{place}/{signature[:-1]}"):
        assert "No message of this server holds this link." in operator.page(wrong, 404)
        operator.send(wrong, {"comment": "x"}, 404)
    assert "Acknowledge</button>" in operator.page(path)


def test_who_may_only_look_follows_the_link_and_changes_nothing(raised: Site, engineer: Visitor, hook: Hook):
    engineer.post("/library/notices", webhook(hook) | {"name": "Hook"})
    tell(raised, 1)
    path = signed_link(raised, hook)
    viewer = raised.visitor("viewer")
    assert "may look, but not acknowledge" in viewer.page(path)
    viewer.send(path, {"comment": "x"}, 403)
