"""The main job by keyboard alone: sign in, log a run, look at cycles, acknowledge; the focus is seen."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from beadline.demo import people
from beadline.kit import places

FILE = places.folder("seed_data") / "drop" / "knot_1_cycle_059.csv"
MOST_STOPS = 90
FIRST_MS = 60_000  # the first file that a server reads makes it load scipy and pandas
NAME = """() => {
    const at = document.activeElement
    const label = at.labels?.[0]?.textContent ?? at.getAttribute("aria-label") ?? at.textContent
    return label.trim().replace(/\\s+/g, " ")
}"""
SEEN = """() => {
    const { outlineStyle, outlineWidth, boxShadow } = getComputedStyle(document.activeElement)
    const { width, height } = document.activeElement.getBoundingClientRect()
    const drawn = (outlineStyle !== "none" && parseFloat(outlineWidth) >= 2) || boxShadow !== "none"
    return drawn && width > 0 && height > 0
}"""


@pytest.fixture
def page(browser: Browser, plant: str) -> Iterator[Page]:
    context = browser.new_context(base_url=plant, viewport={"width": 1440, "height": 900})
    yield context.new_page()
    context.close()


def tab_to(page: Page, name: str) -> None:
    """Press Tab until something of this name has the focus; each stop on the way must show that it has it."""
    passed = []
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        passed.append(page.evaluate(NAME))
        assert page.evaluate(SEEN), f"the focus on {passed[-1]!r} is not seen"
        if re.fullmatch(name, passed[-1]):
            return
    raise AssertionError(f"Tab never came to {name!r}, but to {passed}")


def press(page: Page, name: str) -> None:
    tab_to(page, name)
    page.keyboard.press("Enter")


def test_the_main_job_by_keyboard(page: Page) -> None:
    page.goto("/sign-in")
    tab_to(page, "Name")
    page.keyboard.type("ines")
    tab_to(page, "Password")
    page.keyboard.type(people.PASSWORD)
    page.keyboard.press("Enter")
    page.wait_for_url("**/")

    press(page, "Log a run")
    page.wait_for_url("**/log-a-run")
    tab_to(page, "Bed")
    page.keyboard.type("Knot")
    with page.expect_file_chooser() as chooser:
        press(page, "Trace file of the run")
    chooser.value.set_files(FILE)
    expect(page.locator("[data-seen]")).to_contain_text("would raise an alert", timeout=FIRST_MS)
    press(page, "Record this run")
    page.wait_for_url("**/columns/**cycle=59", timeout=FIRST_MS)

    page.locator("[data-module=trends][data-state=drawn]").wait_for()
    tab_to(page, "Cycle")
    page.keyboard.press("ArrowLeft")
    chosen = page.locator("[data-fragment] h2").first
    expect(chosen).to_contain_text("Cycle 58")
    page.keyboard.press("Shift+ArrowLeft")
    beside = page.get_by_role("region", name="Selected cycles side by side")
    expect(beside.get_by_role("columnheader")).to_have_count(3)

    page.goto("/")
    press(page, r"Alerts \d.*")
    page.wait_for_url("**/alerts")
    press(page, r"(action|alert) limit · 1")
    page.wait_for_url("**/alerts/1")
    tab_to(page, "Comment")
    page.keyboard.type("Seen; a pulse test comes first.")
    press(page, "Acknowledge")
    expect(page.get_by_role("main")).to_contain_text("acknowledged")
    expect(page.get_by_role("main")).to_contain_text("a pulse test comes first")
