"""Kill -9 at random moments while runs are logged: nothing confirmed is lost, nothing is half there or twice.

200 kills on each database run with `pytest -m slow --db both tests/crash`; four of them always.
"""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import OperationalError
from tests.crash import aftermath, skids
from tests.crash.killable import Killable
from tests.crash.skids import Skid
from tests.receivers import Hook
from tests.sites import Site
from tests.visitors import bearer

from beadline.features.accounts import queries as account_queries
from beadline.features.notices import service as notices
from beadline.features.notices.schemas import RouteFacts
from beadline.kit import clock

pytestmark = pytest.mark.every_dialect

MOST_RUNS, LONGEST_S = 6, 0.15  # confirmed before the kill, and then seconds: within a run
WITHIN_S = 60.0
BATCHES, KILLS_A_BATCH, KILLS_ALWAYS = 8, 25, 4
DATABASE_HIT_EVERY = 5  # where the database is a server, one of its processes is killed as well


@pytest.fixture
def hook() -> Iterator[Hook]:
    made = Hook()
    made.start()
    yield made
    made.stop()


@pytest.fixture
def plant(open_site: Callable[..., Site], hook: Hook) -> Site:
    """A site with the beds of two skids, which tells a webhook of every alert."""
    site = open_site(skids.fill_skids)
    with site.writing() as session:
        by = account_queries.user_named(session, "engineer")
        assert by is not None
        facts = RouteFacts(name="Hook", kind="webhook", target=hook.address)
        notices.add(session, facts, zone="UTC", by=by, at=clock.now())
    if site.engine.dialect.name == "postgresql":
        # it copied a template, and forgets in a crash how far the copy's sequences had been counted before
        with site.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.execute(text("checkpoint"))
    return site


def hit_the_database(engine: Engine) -> None:
    """Kill the process that serves one of the server's connections; the database then restarts all."""
    query = "select pid from pg_stat_activity where datname = current_database() and pid <> pg_backend_pid()"
    with suppress(OperationalError), engine.connect() as connection:
        for pid in list(connection.execute(text(query)).scalars())[:1]:
            os.kill(pid, signal.SIGKILL)


@contextmanager
def ending(server: Killable) -> Iterator[None]:
    """See that no skid waits for ever for a server, should the test fail."""
    try:
        yield
    finally:
        server.kill()


def wait_at_random(chance: random.Random, working: Sequence[Skid], at_work: Sequence[Future[None]]) -> None:
    """Let a few more runs be confirmed, then stop somewhere within the next."""
    enough = sum(len(skid.confirmed) for skid in working) + chance.randrange(MOST_RUNS)
    deadline = time.monotonic() + WITHIN_S
    while sum(len(skid.confirmed) for skid in working) < enough:
        assert time.monotonic() < deadline, "the skids do not get on"
        for one in at_work:
            if one.done():
                one.result()
        time.sleep(0.005)
    time.sleep(chance.uniform(0, LONGEST_S))


def kill_at_random(plant: Site, hook: Hook, monkeypatch: pytest.MonkeyPatch, *, kills: int, seed: int) -> int:
    """Kill the server so many times under two skids, look each time; return how many notices there were."""
    chance = random.Random(seed)
    credentials, working = bearer(plant.token("operator")), skids.two()
    server = Killable(plant.settings.database_url)
    for kill in range(kills):
        server.start()
        with ThreadPoolExecutor(len(working)) as hands, ending(server):
            at_work = [hands.submit(skid.work, server.address, credentials) for skid in working]
            wait_at_random(chance, working, at_work)
            if plant.engine.dialect.name == "postgresql" and kill % DATABASE_HIT_EVERY == 2:
                hit_the_database(plant.engine)
                wait_at_random(chance, working, at_work)
            server.kill()
            for one in at_work:
                one.result()
        aftermath.check(plant.engine, working, monkeypatch)
    assert all(skid.confirmed for skid in working)
    return aftermath.drain(plant.settings, hook)


def test_a_few_kills_lose_nothing(plant: Site, hook: Hook, monkeypatch: pytest.MonkeyPatch):
    assert kill_at_random(plant, hook, monkeypatch, kills=KILLS_ALWAYS, seed=0) > 0


@pytest.mark.slow
@pytest.mark.parametrize("batch", range(1, BATCHES + 1))
def test_two_hundred_kills_lose_nothing(plant: Site, hook: Hook, monkeypatch: pytest.MonkeyPatch, batch: int):
    assert kill_at_random(plant, hook, monkeypatch, kills=KILLS_A_BATCH, seed=batch) > 0
