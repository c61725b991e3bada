"""A run is recorded once, as a whole, with the name of who logged it; or not at all."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest
from fastapi import Request
from fastapi.testclient import TestClient
from sqlalchemy.orm import Session
from tests import builders
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import basic, bearer

from beadline.boundary import deps
from beadline.features.records import service as records

pytestmark = pytest.mark.every_dialect

FILE = builders.make_cycle_file(PLOVER, 1)
NEXT = builders.make_cycle_file(PLOVER, 2)


class PowerCut(Exception):
    """Ours, so that nothing else can be mistaken for it."""


def test_the_same_file_sent_twice_is_recorded_once_and_says_so(site: Site):
    first = site.post_run(FILE, credentials=basic("operator"))
    stored = site.counts()
    second = site.post_run(FILE, credentials=basic("engineer"))
    assert (first.status_code, second.status_code) == (201, 200)
    reply = second.json()
    assert reply["already_recorded"] is True
    assert (reply["cycle"], reply["logged_by"]) == (1, "operator")
    assert reply["trace_sha256"] == first.json()["trace_sha256"]
    assert site.counts() == stored


def test_who_lost_the_reply_gets_the_verdict_when_sending_again(life: Site):
    credentials = bearer(life.token("operator"))
    for number in (21, 22):
        file = builders.make_cycle_file(PLOVER, number)
        first = life.post_run(file, credentials=credentials).json()
        again = life.post_run(file, credentials=credentials).json()
        told = ("cycle", "verdict", "condition", "drift", "not_the_bed", "alert")
        assert {name: again[name] for name in told} == {name: first[name] for name in told}
    assert again["alert"]["since_cycle"] == 21


def test_the_page_says_that_a_file_is_recorded_already(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    stored = site.counts()
    engineer = site.visitor("engineer")
    answer = engineer.post("/log-a-run", {"packing": "1"}, file=("other_name.csv", FILE.content))
    assert "recorded already, as cycle 1, logged by Operator" in answer.text
    assert {k: v for k, v in site.counts().items() if k not in ("sign_ins", "records")} == {
        k: v for k, v in stored.items() if k not in ("sign_ins", "records")
    }


def test_two_that_send_the_same_file_at_once_record_it_once(site: Site):
    credentials = bearer(site.token("operator"))
    start, answers = threading.Barrier(3), []

    def post() -> None:
        client = TestClient(site.app)
        start.wait()
        sent = {"file": (FILE.filename, FILE.content)}
        answers.append(
            client.post("/api/v1/runs", data={"column": "Plover"}, files=sent, headers=credentials)
        )

    threads = [threading.Thread(target=post) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert sorted(answer.status_code for answer in answers) == [200, 200, 201]
    assert site.counts()["cycles"] == 1


def test_a_file_of_another_bed_is_refused(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    stored = site.counts()
    answer = site.post_run(FILE, credentials=basic("operator"), column=DOTTEREL.column.name)
    assert answer.status_code == 409
    assert answer.json()["code"] == "file-of-another-bed"
    assert "cycle 1 of Plover" in answer.json()["title"]
    assert site.counts() == stored


@pytest.mark.parametrize("role", ["operator", "engineer"])
def test_who_logged_a_run_is_stored_with_it_and_with_every_record(site: Site, role: str):
    site.post_run(FILE, credentials=basic(role), note="As usual.")
    with site.engine.connect() as connection:
        names = connection.exec_driver_sql(
            "select users.name from cycles join users on users.id = cycles.logged_by_id "
            "union all select users.name from traces join users on users.id = traces.received_by_id"
        ).scalars()
        assert list(names) == [role, role]
        said = connection.exec_driver_sql(
            "select user_name, did, thing from records order by id desc limit 3"
        ).all()
    first_file = [("log", "cycle"), ("make", "reading profile"), ("receive", "trace")]
    assert [tuple(row) for row in said] == [(role, *what) for what in first_file]


def broken_unit_of_work(request: Request) -> Iterator[Session]:
    """The power goes after all work is done and before the commit."""
    with request.app.state.new_session.begin() as session:
        yield session
        session.flush()
        raise PowerCut


def test_a_crash_between_analysis_and_commit_leaves_nothing(site: Site):
    credentials = bearer(site.token("operator"))
    site.post_run(FILE, credentials=credentials)
    stored = site.counts()
    site.app.dependency_overrides[deps._unit_of_work] = broken_unit_of_work
    cut = site.post_run(NEXT, credentials=credentials)
    assert (cut.status_code, cut.headers["content-type"]) == (500, "application/problem+json")
    assert site.counts() == stored
    with Session(site.engine) as session:
        assert records.verify(session) is None
    site.app.dependency_overrides.clear()
    again = site.post_run(NEXT, credentials=credentials)
    assert (again.status_code, again.json()["cycle"]) == (201, 2)


def test_no_reply_says_recorded_before_it_is(site: Site):
    """The commit comes before the reply: when it fails, the caller is not told that the run is recorded."""
    credentials = bearer(site.token("operator"))
    site.app.dependency_overrides[deps._unit_of_work] = broken_unit_of_work
    client = TestClient(site.app, raise_server_exceptions=False)
    sent = {"file": (FILE.filename, FILE.content)}
    answer = client.post("/api/v1/runs", data={"column": "Plover"}, files=sent, headers=credentials)
    assert answer.status_code == 500


def test_a_run_that_is_confirmed_is_seen_by_everybody_at_once(site: Site):
    site.post_run(FILE, credentials=basic("operator"))
    with Session(site.engine) as session:
        numbers = session.connection().exec_driver_sql("select number from cycles").scalars().all()
    assert numbers == [1]
