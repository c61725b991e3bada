"""Programs that ask again are told that nothing has changed; the description says what is true."""

from __future__ import annotations

from typing import Any

import pytest
from tests.builders import make_cycle_file
from tests.sites import PLOVER, Site
from tests.visitors import bearer

READING = (
    "/api/v1/columns",
    f"/api/v1/columns/{PLOVER.column.asset_tag}/cycles",
    f"/api/v1/columns/{PLOVER.column.asset_tag}/cycles/1",
    "/api/v1/alerts",
    "/api/v1/openapi.json",
)


@pytest.mark.parametrize("path", READING)
def test_an_answer_that_has_not_changed_is_not_sent_again(life: Site, path: str):
    viewer = bearer(life.token("viewer"))
    first = life.client.get(path, headers=viewer)
    tag = first.headers["etag"]
    assert first.headers["cache-control"] == "private, no-cache"
    for known in (tag, f'"other", W/{tag}', "*"):
        again = life.client.get(path, headers=viewer | {"If-None-Match": known})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
        assert "content-length" not in again.headers or again.headers["content-length"] == "0"
        assert again.headers["x-content-type-options"] == "nosniff"
    assert life.client.get(path, headers=viewer | {"If-None-Match": '"other"'}).content == first.content


def test_a_new_run_changes_the_tag(life: Site):
    viewer, path = bearer(life.token("viewer")), "/api/v1/columns"
    tag = life.client.get(path, headers=viewer).headers["etag"]
    life.post_run(make_cycle_file(PLOVER, 21), credentials=bearer(life.token("operator")))
    answer = life.client.get(path, headers=viewer | {"If-None-Match": tag})
    assert answer.status_code == 200
    assert answer.headers["etag"] != tag


def test_refusals_and_pages_have_no_tag(site: Site):
    refused = site.client.get("/api/v1/columns/none/cycles", headers=bearer(site.token("viewer")))
    assert (refused.status_code, "etag" in refused.headers) == (404, False)
    assert "etag" not in site.visitor("viewer").get("/").headers


def test_columns_come_in_pages(site: Site):
    viewer = bearer(site.token("viewer"))
    first = site.client.get("/api/v1/columns", headers=viewer).json()
    assert (first["page"], first["pages"], len(first["columns"])) == (1, 1, 2)
    assert site.client.get("/api/v1/columns?page=2", headers=viewer).json()["columns"] == []
    assert site.client.get("/api/v1/columns?page=0", headers=viewer).status_code == 422


def test_the_description_tells_refusals_signing_in_and_tags_as_they_are(site: Site):
    described: dict[str, Any] = site.client.get(
        "/api/v1/openapi.json", headers=bearer(site.token("viewer"))
    ).json()
    assert set(described["components"]["securitySchemes"]) == {"token", "password"}
    assert "HTTPValidationError" not in described["components"]["schemas"]
    problem = set(described["components"]["schemas"]["Problem"]["required"])
    refused = site.client.get("/api/v1/columns/none/cycles", headers=bearer(site.token("viewer")))
    assert set(refused.json()) == problem
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            answers = operation["responses"]
            assert "application/problem+json" in answers["default"]["content"], path
            told = "application/json" in answers.get("200", {}).get("content", {})
            assert ("304" in answers) == (method == "get" and told), path
