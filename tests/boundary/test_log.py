"""What the log must never hold."""

from __future__ import annotations

import logging

import pytest
from tests.sites import Site
from tests.visitors import PASSWORD, Visitor, basic, bearer


def test_no_password_or_token_gets_into_the_log(site: Site, caplog: pytest.LogCaptureFixture):
    """With every logger at its most talkative, in requests that go well, are refused, and fail."""
    site.app.add_api_route("/api/v1/fails", lambda: 1 // 0)
    token, wrong = site.token("viewer"), "a wrong heron in the reeds"
    caplog.set_level(logging.DEBUG)
    browser = Visitor(site.client)
    for password in (wrong, PASSWORD):
        browser.post("/sign-in", {"name": "viewer", "password": password}, token_from="/sign-in")
    for credentials in (basic("viewer", wrong), basic("viewer"), bearer(token), bearer(token + "x")):
        for path in ("/api/v1/alerts", "/api/v1/fails"):
            site.client.get(path, headers=credentials)
    cookies = [cookie.value for cookie in site.client.cookies.jar]
    assert any("failed" in record.getMessage() for record in caplog.records)
    for secret in (PASSWORD, wrong, token, basic("viewer")["Authorization"].split()[1], *cookies):
        assert secret not in caplog.text
