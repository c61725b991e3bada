"""Signing in and out, with keys alone and with scripts off."""

from __future__ import annotations

from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Site
from tests.browser.visits import PASSWORD, sign_in


def test_keys_alone_sign_in_and_out(page: Page) -> None:
    page.goto("/sign-in?then=/parts")
    page.keyboard.press("Tab")
    expect(page.get_by_role("link", name="Skip to the content")).to_be_focused()
    page.get_by_label("Name").focus()
    page.keyboard.type("engineer")
    page.keyboard.press("Tab")
    page.keyboard.type(PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/parts")
    page.get_by_role("button", name="Sign out").press("Enter")
    page.wait_for_url("**/sign-in")


def test_a_wrong_password_is_refused_in_words(page: Page) -> None:
    page.goto("/sign-in")
    page.get_by_label("Name").fill("viewer")
    page.get_by_label("Password").fill("not the password at all")
    page.get_by_role("button", name="Sign in").click()
    expect(page.get_by_role("alert")).to_contain_text("Name and password do not fit.")
    expect(page.get_by_label("Name")).to_have_value("viewer")


def test_whoever_is_not_signed_in_comes_back_to_the_page_asked_for(page: Page) -> None:
    page.goto("/parts")
    page.get_by_label("Name").fill("engineer")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    expect(page).to_have_title("Parts · Beadline")


def test_signing_in_works_without_script(browser: Browser, site: Site) -> None:
    context = browser.new_context(base_url=site.address, java_script_enabled=False)
    page = context.new_page()
    sign_in(page)
    expect(page.get_by_role("heading", name="Parts")).to_be_visible()
    context.close()
