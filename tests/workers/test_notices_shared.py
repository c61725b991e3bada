"""Three workers at once send every notice once: what one has claimed the others pass over."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import timedelta

import pytest
from sqlalchemy import text
from tests import sites
from tests.receivers import Hook
from tests.sites import Site
from tests.workers import notifying

from beadline.features.accounts import queries as account_queries
from beadline.features.alerts import queries as alert_queries
from beadline.features.notices import service as notices
from beadline.features.notices.schemas import RouteFacts
from beadline.features.notices.service import outbox
from beadline.kit import clock

pytestmark = pytest.mark.every_dialect

WORKERS, TESTS_OF_EACH, WITHIN_S = 3, 8, 90.0
SLOW_S = 0.05  # the receiver; so that workers overlap


@pytest.fixture
def hook() -> Iterator[Hook]:
    made = Hook()
    made.on_post = lambda: time.sleep(SLOW_S)
    made.start()
    yield made
    made.stop()


@pytest.fixture
def plant(open_site: Callable[..., Site], hook: Hook) -> Site:
    """A site where an alert was told an hour ago, nobody answers, and many test messages wait."""
    site = open_site(sites.fill_cracked_life)
    now = clock.now()
    with site.writing() as session:
        by = account_queries.user_named(session, "engineer")
        alert = alert_queries.by_id(session, 1)
        assert by is not None
        assert alert is not None
        chief = RouteFacts(name="Chief", kind="webhook", target=hook.address)
        last, _ = notices.add(session, chief, zone="UTC", by=by, at=now)
        escalating = {"escalate_after_minutes": 10, "escalate_to_id": last.id}
        shift = RouteFacts(name="Shift", kind="webhook", target=hook.address, **escalating)
        first, _ = notices.add(session, shift, zone="UTC", by=by, at=now)
        outbox.add(session, first, alert, event="raised", at=now - timedelta(hours=1))
        for _ in range(TESTS_OF_EACH):
            for route in (first, last):
                notices.ask_for_test(session, route, at=now)
    return site


@pytest.fixture
def workers(plant: Site) -> Iterator[None]:
    """`beadline work`, three times."""
    processes = [notifying.started(plant.settings.database_url) for _ in range(WORKERS)]
    yield
    for process in processes:
        process.kill()
        process.join()


def states(site: Site) -> Counter[tuple[str, str, int]]:
    with site.engine.connect() as connection:
        rows = connection.execute(text("select event, state, attempts from notices"))
        return Counter((row[0], row[1], row[2]) for row in rows)


@pytest.mark.usefixtures("workers")
def test_every_notice_is_sent_once_and_escalated_once(plant: Site, hook: Hook):
    expected = {
        ("raised", "sent", 1): 1,
        ("escalated", "sent", 1): 1,
        ("test", "sent", 1): 2 * TESTS_OF_EACH,
    }
    deadline = time.monotonic() + WITHIN_S
    while states(plant) != expected and time.monotonic() < deadline:
        time.sleep(0.2)
    assert states(plant) == expected
    assert sum(content["test"] for content in hook.contents) == 2 * TESTS_OF_EACH
    told = [one["event"] for content in hook.contents for one in content["notices"]]
    assert sorted(told) == ["escalated", "raised"]
