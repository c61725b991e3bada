"""What nobody foresaw is answered in words, with every header, and logged under the id it names."""

from __future__ import annotations

import logging
from collections.abc import Iterator

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from tests.sites import Site
from tests.visitors import bearer

ADDRESSES = ["/fails", "/api/v1/fails"]


@pytest.fixture
def broken(site: Site) -> Iterator[TestClient]:
    """The application with two more addresses, whose code divides by zero."""

    def fails() -> str:
        return str(1 // 0)

    for path in ADDRESSES:
        site.app.add_api_route(path, fails)
    with TestClient(site.app) as client:  # raises in the test what would reach the server
        yield client


def request_id(answer: Response) -> str:
    return str(answer.headers["x-request-id"])


def test_a_program_gets_problem_details(broken: TestClient, caplog: pytest.LogCaptureFixture):
    answer = broken.get("/api/v1/fails")
    problem = answer.json()
    assert (answer.status_code, answer.headers["content-type"]) == (500, "application/problem+json")
    assert (problem["status"], problem["code"]) == (500, "unexpected")
    assert problem["instance"].endswith(request_id(answer))
    assert request_id(answer) in problem["mend"]
    logged = next(record for record in caplog.records if request_id(answer) in record.getMessage())
    assert logged.levelno == logging.ERROR
    assert logged.exc_info is not None
    assert logged.exc_info[0] is ZeroDivisionError


def test_a_person_gets_a_page_without_a_traceback(broken: TestClient):
    answer = broken.get("/fails")
    assert answer.status_code == 500
    assert "Something went wrong on the server" in answer.text
    assert request_id(answer) in answer.text
    assert "ZeroDivisionError" not in answer.text


@pytest.mark.parametrize("path", [*ADDRESSES, "/nowhere", "/sign-in"])
def test_every_answer_carries_the_headers(broken: TestClient, path: str):
    headers = broken.get(path).headers
    assert "default-src 'none'" in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"
    assert len(headers["x-request-id"]) == 16


def test_each_request_has_an_id_of_its_own(broken: TestClient):
    assert request_id(broken.get("/sign-in")) != request_id(broken.get("/sign-in"))


@pytest.mark.parametrize("path", ["/alerts/abc", "/alerts/1.5", "/traces/abc", "/cycles/x/void"])
def test_an_address_with_a_word_for_a_number_leads_nowhere(site: Site, path: str):
    visitor = site.visitor("engineer")
    answer = visitor.get(path) if not path.endswith("void") else visitor.post(path, {"reason": "x"})
    assert answer.status_code == 404
    assert "There is nothing at this address." in answer.text
    assert "parse" not in answer.text


def test_a_program_is_told_in_plain_words(site: Site):
    credentials = bearer(site.token("operator"))
    answer = site.client.get("/api/v1/alerts/abc", headers=credentials)
    assert answer.status_code == 404
    answer = site.client.post("/api/v1/runs", data={"column": "Plover"}, headers=credentials)
    assert (answer.status_code, answer.json()["title"]) == (422, "The field file is missing.")


@pytest.mark.parametrize("path", ["/alerts?page=abc", "/records?page=x", "/columns/Plover?cycle=abc"])
def test_a_wrong_question_is_answered_in_plain_words(site: Site, path: str):
    answer = site.visitor("engineer").get(path)
    assert answer.status_code in (200, 404, 422)
    assert "unable to parse" not in answer.text
    assert "input should" not in answer.text.lower()
