"""A database server that is stopped and comes back: the answer says so, and nobody restarts Beadline."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from tests import builders
from tests.databases import Databases, PostgresDatabases
from tests.sites import PLOVER, Site
from tests.visitors import bearer

pytestmark = pytest.mark.every_dialect


@pytest.fixture
def postgresql(databases: Databases) -> Iterator[PostgresDatabases]:
    if not isinstance(databases, PostgresDatabases):
        pytest.skip("only a database server can be stopped")
    yield databases
    databases.start()


def test_a_run_is_refused_while_the_database_is_gone_and_taken_when_it_is_back(
    postgresql: PostgresDatabases, site: Site
):
    credentials, viewer = bearer(site.token("operator")), site.visitor("viewer")
    first, second = (builders.make_cycle_file(PLOVER, number) for number in (1, 2))
    assert site.post_run(first, credentials=credentials).status_code == 201
    postgresql.stop()
    answer = site.post_run(second, credentials=credentials)
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (503, "database-unavailable")
    assert "nothing was stored" in problem["title"]
    assert "Try again in a moment" in problem["mend"]
    assert int(answer.headers["retry-after"]) > 0
    assert "The database does not answer" in viewer.page("/", 503)
    assert site.client.get("/ready").json()["faults"] == ["the database does not answer"]
    assert site.client.get("/health").status_code == 200
    postgresql.start()
    assert site.post_run(second, credentials=credentials).status_code == 201
    assert "Plover" in viewer.page("/")
    assert site.client.get("/ready").json() == {"ready": True, "faults": []}
    assert site.counts()["cycles"] == 2
