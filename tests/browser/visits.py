"""What a person does on every visit."""

from __future__ import annotations

import time

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

PASSWORD = "a heron stands in the reeds"
SERIOUS = ("serious", "critical")


def sign_in(page: Page, name: str = "engineer", password: str = PASSWORD) -> None:
    """Sign a browser in through the form, as a person does."""
    page.goto("/sign-in?then=/parts")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/parts")


def serious_findings(page: Page) -> list[str]:
    """What axe (Deque's open rules for WCAG 2 A and AA) finds serious on a page."""
    found = Axe().run(page).response["violations"]
    return [
        f"{finding['id']}: {node['html'][:160]}"
        for finding in found
        if finding["impact"] in SERIOUS
        for node in finding["nodes"]
    ]


def until(page: Page, expression: str, *, within_s: float = 10.0) -> None:
    """Wait until an expression holds in the page; asked from outside, as its policy forbids eval."""
    deadline = time.monotonic() + within_s
    while not page.evaluate(expression):
        assert time.monotonic() < deadline, f"never true: {expression}"
        page.wait_for_timeout(50)
