"""What every answer of every route carries, and to which names and over which ways it is given."""

from __future__ import annotations

from collections.abc import Callable

import httpx
import pytest
from fastapi.testclient import TestClient
from tests import sites
from tests.architecture.routes import every_way
from tests.architecture.test_permissions import address
from tests.sites import Site

ALWAYS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}
POLICY = ("default-src 'none'", "frame-ancestors 'none'", "base-uri 'none'", "form-action 'self'")
ELSEWHERE = ["/nowhere", "/api/v1/nowhere", "/api/v1/openapi.json", "/static/none.css"]


def assert_headed(answer: httpx.Response, *, secure: bool) -> None:
    headers = answer.headers
    assert {name: headers.get(name) for name in ALWAYS} == ALWAYS
    assert all(part in headers["content-security-policy"] for part in POLICY)
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-request-id"]
    assert "access-control-allow-origin" not in headers
    assert ("strict-transport-security" in headers) == secure
    for cookie in headers.get_list("set-cookie"):
        parts = set(cookie.lower().split("; "))
        assert {"httponly", "samesite=lax"} <= parts
        assert ("secure" in parts) == secure


@pytest.mark.parametrize("secure", [False, True])
def test_every_answer_of_every_route_is_headed(open_site: Callable[..., Site], secure: bool):
    """HSTS and secure cookies where a proxy in front speaks TLS, which the setting says."""
    site = open_site(sites.fill_beds, secure_cookies=secure)
    client, signed_in = TestClient(site.app), site.visitor("engineer").client
    for way in every_way():
        for asking in (client, signed_in):
            answer = asking.request(way.method, address(way.path), follow_redirects=False)
            assert_headed(answer, secure=secure)
            if way.path.startswith("/api/") and answer.status_code >= 400:
                assert answer.headers["content-type"] == "application/problem+json", way
    for path in ELSEWHERE:
        assert_headed(client.get(path), secure=secure)
        assert_headed(client.request("DELETE", path), secure=secure)


def test_pages_are_never_kept_by_caches(site: Site):
    visitor = site.visitor("engineer")
    for path in ("/", "/records", "/account", "/sign-in"):
        assert visitor.get(path).headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    "host", ["heron.example", "testserver.heron.example", "127.0.0.1:9999@heron.example"]
)
def test_a_name_that_is_not_ours_is_not_answered(site: Site, host: str):
    answer = site.client.get("/sign-in", headers={"host": host})
    assert answer.status_code == 400
    assert_headed(answer, secure=False)
    assert host not in answer.text


def test_a_name_that_is_ours_is_answered_on_any_port(site: Site):
    assert site.client.get("/sign-in", headers={"host": "localhost:8123"}).status_code == 200
