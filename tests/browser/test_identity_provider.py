"""Signing in through an identity provider in a real browser, by its own rules for cookies and forms."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect
from tests import providers
from tests.browser.conftest import Site
from tests.providers import CLIENT_ID, CLIENT_SECRET, Provider
from tests.serving import free_port, on_loopback

from beadline import app
from beadline.boundary.identity_provider import BACK
from beadline.features.accounts import service as accounts
from beadline.kit import clock
from beadline.store.engine import make_engine, writing_sessions


@pytest.fixture
def provider() -> Iterator[Provider]:
    with providers.running() as running:
        running.address = running.address.replace("127.0.0.1", "localhost")  # another site than ours
        running.add("egret", subject="7f2a")
        yield running


@pytest.fixture
def address(site: Site, provider: Provider) -> Iterator[str]:
    """Beadline on the database of the other browser tests, with the provider set."""
    port = free_port()
    provider.know(f"http://127.0.0.1:{port}{BACK}")
    set_ = {
        "oidc_issuer": provider.address,
        "oidc_client_id": CLIENT_ID,
        "oidc_client_secret": CLIENT_SECRET,
        "public_url": f"http://127.0.0.1:{port}",
    }
    settings = type(site.settings)(database_url=site.settings.database_url, **set_)
    engine = make_engine(settings.database_url)
    with writing_sessions(engine).begin() as session:
        user = next(one for one in accounts.everyone(session) if one.role == "operator")
        accounts.name_at_provider(session, user.id, "egret", by=user, why="a test", at=clock.now())
    engine.dispose()
    with on_loopback(app.build(settings), port) as served:
        yield served


@pytest.mark.parametrize("script", [True, False])
def test_a_browser_goes_there_and_comes_back_signed_in(browser: Browser, address: str, script: bool) -> None:
    context = browser.new_context(base_url=address, java_script_enabled=script)
    page: Page = context.new_page()
    page.goto("/alerts")
    page.get_by_role("link", name="Sign in with your organisation's account").click()
    expect(page).to_have_title("Provider")
    page.get_by_label("Name").fill("egret")
    page.get_by_label("Password").fill("egretegret")
    page.get_by_role("button", name="Go on").click()
    expect(page).to_have_title("Alerts · Beadline")
    page.get_by_role("button", name="Sign out").click()
    expect(page).to_have_title("Sign in · Beadline")
    context.close()
