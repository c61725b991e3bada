"""What the log holds, and what it must never hold."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from sqlalchemy import text
from tests.sites import Site
from tests.visitors import PASSWORD, Visitor, basic, bearer

from beadline.kit.log_lines import Lines

Told = Callable[[], list[dict[str, Any]]]


@pytest.fixture
def written() -> Iterator[io.StringIO]:
    """Everything that any logger says, as the server writes it."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(Lines())
    root, ours = logging.getLogger(), logging.getLogger("beadline")
    before = root.level, ours.level
    root.addHandler(handler)
    root.setLevel(logging.DEBUG)
    ours.setLevel(logging.DEBUG)
    yield stream
    root.removeHandler(handler)
    root.setLevel(before[0])
    ours.setLevel(before[1])


@pytest.fixture
def told(written: io.StringIO) -> Told:
    """What our own loggers said, line by line."""

    def lines() -> list[dict[str, Any]]:
        everything = [json.loads(line) for line in written.getvalue().splitlines()]
        return [line for line in everything if line["logger"].startswith("beadline")]

    return lines


def test_no_password_or_token_gets_into_the_log(site: Site, written: io.StringIO, told: Told):
    """With every logger at its most talkative, in requests that go well, are refused, and fail."""
    site.app.add_api_route("/api/v1/fails", lambda: 1 // 0)
    token, wrong = site.token("viewer"), "a wrong heron in the reeds"
    browser = Visitor(site.client)
    for password in (wrong, PASSWORD):
        browser.post("/sign-in", {"name": "viewer", "password": password}, token_from="/sign-in")
    for credentials in (basic("viewer", wrong), basic("viewer"), bearer(token), bearer(token + "x")):
        for path in ("/api/v1/alerts", "/api/v1/fails"):
            site.client.get(path, headers=credentials)
    cookies = [cookie.value for cookie in site.client.cookies.jar]
    assert any("failed" in line["message"] for line in told())
    for secret in (PASSWORD, wrong, token, basic("viewer")["Authorization"].split()[1], *cookies):
        assert secret not in written.getvalue()


def test_each_request_is_a_line_that_says_who_asked_for_what_and_how_it_went(site: Site, told: Told):
    answer = site.client.get("/api/v1/alerts/7?token=spoonbill", headers=bearer(site.token("viewer")))
    (line,) = told()
    assert line["request_id"] == answer.headers["X-Request-Id"]
    assert (line["user"], line["method"], line["status"]) == ("viewer", "GET", 404)
    assert line["route"] == "/api/v1/alerts/{alert_id}"
    assert line["level"] == "info"
    assert line["time"].endswith("Z")
    assert 0 < line["ms"] < 60_000
    assert "spoonbill" not in str(line)


def test_all_lines_of_a_request_carry_its_id_and_a_failure_its_traceback(site: Site, told: Told):
    site.app.add_api_route("/api/v1/fails", lambda: 1 // 0)
    answers = [site.client.get("/api/v1/fails", headers=basic("viewer")) for _ in range(2)]
    for answer in answers:
        own = [line for line in told() if line.get("request_id") == answer.headers["X-Request-Id"]]
        assert [line["level"] for line in own] == ["error", "error"]
        assert "ZeroDivisionError" in own[0]["exception"]
        assert own[1]["status"] == 500


def test_what_a_statement_that_failed_would_have_stored_is_not_shown(site: Site, written: io.StringIO):
    values = {"name": "a secret avocet"}

    def fail() -> None:
        with site.writing() as session:
            session.execute(text("insert into users (name) values (:name)"), values)

    site.app.add_api_route("/api/v1/fails", fail)
    assert site.client.get("/api/v1/fails", headers=basic("viewer")).status_code == 409
    assert "insert into users" in written.getvalue()
    assert "a secret avocet" not in written.getvalue()


def test_what_is_asked_for_all_the_time_is_not_logged(site: Site, told: Told):
    for path in ("/health", "/ready"):
        site.client.get(path)
    assert told() == []
