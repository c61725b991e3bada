"""A program that lost an answer sends its request again with the same key, and nothing is done twice."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from httpx import Response
from sqlalchemy import update
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.store.tables import KeptAnswer

pytestmark = pytest.mark.every_dialect
RUNS, TYPED, BULK = "/api/v1/runs", "/api/v1/typed-runs", "/api/v1/runs/bulk"
NEXT = HEALTHY + 1


@pytest.fixture
def token(life: Site) -> dict[str, str]:
    return bearer(life.token("operator"))


def post(site: Site, token: dict[str, str], key: str, *, number: int = NEXT, **facts: str) -> Response:
    file = builders.make_cycle_file(PLOVER, number)
    return site.client.post(
        RUNS,
        data={"column": "Plover", **facts},
        files={"file": (file.filename, file.content)},
        headers=token | {"Idempotency-Key": key},
    )


def test_the_same_request_with_the_same_key_has_the_same_answer(life: Site, token: dict[str, str]):
    first, again = post(life, token, "a-1"), post(life, token, "a-1")
    assert (first.status_code, again.status_code) == (
        201,
        201,
    )  # without a key it would say 200, recorded before
    assert again.json() == first.json()
    assert "idempotency-replayed" not in first.headers
    assert again.headers["idempotency-replayed"] == "true"
    assert life.counts()["cycles"] == NEXT


@pytest.mark.parametrize("other", [{"number": NEXT + 1}, {"batch": "B-9"}])
def test_the_same_key_with_another_request_is_refused(
    life: Site, token: dict[str, str], other: dict[str, Any]
):
    post(life, token, "a-1")
    answer = post(life, token, "a-1", **other)
    assert (answer.status_code, answer.json()["code"]) == (422, "key-used")
    assert answer.headers["content-type"] == "application/problem+json"
    assert life.counts()["cycles"] == NEXT


def test_typed_and_bulk_runs_take_a_key_too(life: Site, token: dict[str, str]):
    typed = {"column": "Plover", "started_at": "2025-01-26T20:00", "asymmetry": 1.2}
    file = builders.make_cycle_file(PLOVER, NEXT)
    headers = token | {"Idempotency-Key": "t-1"}
    replies = [life.client.post(TYPED, json=typed, headers=headers) for _ in range(2)]
    assert [one.status_code for one in replies] == [201, 201]
    assert replies[0].json() == replies[1].json()
    assert life.client.post(TYPED, json=typed | {"asymmetry": 1.3}, headers=headers).status_code == 422
    sent = {"data": {"column": "Plover"}, "files": [("files", (file.filename, file.content))]}
    many = [life.client.post(BULK, headers=token | {"Idempotency-Key": "b-1"}, **sent) for _ in range(2)]  # type: ignore[arg-type]
    assert many[0].json() == many[1].json()
    assert many[1].json()["recorded"] == 1
    assert life.client.post(BULK, headers=headers, **sent).status_code == 422  # type: ignore[arg-type]


def test_a_refused_request_may_be_sent_again_with_its_key(life: Site, token: dict[str, str]):
    wrong = {"column": "Plover", "started_at": "2025-02-19T08:00"}
    headers = token | {"Idempotency-Key": "r-1"}
    assert life.client.post(TYPED, json=wrong, headers=headers).status_code == 422
    assert life.counts()["kept_answers"] == 0
    assert life.client.post(TYPED, json=wrong | {"asymmetry": 1.2}, headers=headers).status_code == 201


def test_keys_belong_to_whoever_sends_and_are_forgotten_after_a_month(life: Site, token: dict[str, str]):
    engineer = bearer(life.token("engineer"))
    post(life, token, "a-1")
    assert post(life, engineer, "a-1", number=NEXT + 1).status_code == 201
    with life.writing() as session:
        session.execute(update(KeptAnswer).values(kept_at=datetime.now(UTC) - timedelta(days=31)))
    assert post(life, token, "a-1").status_code == 200  # done anew: the file is recorded already
    assert life.counts()["kept_answers"] == 1


def test_a_key_that_is_too_long_is_refused_and_the_header_is_described(life: Site, token: dict[str, str]):
    assert post(life, token, "k" * 256).json()["where"] == "Idempotency-Key"
    described = json.loads(life.client.get("/api/v1/openapi.json", headers=token).content)["paths"]
    for path in (RUNS, TYPED, BULK):
        names = {one["name"] for one in described[path]["post"]["parameters"]}
        assert "Idempotency-Key" in names
