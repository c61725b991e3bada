"""The gallery of parts: accessible, in both colour schemes, on a phone, without script."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Site
from tests.browser.visits import serious_findings, sign_in


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(browser: Browser, site: Site, scheme: str) -> None:
    context = browser.new_context(base_url=site.address, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto("/sign-in")
    assert serious_findings(page) == []
    sign_in(page)
    assert serious_findings(page) == []
    page.goto("/there-is-no-such-page")
    assert serious_findings(page) == []
    context.close()


@pytest.mark.parametrize("width", [390, 820, 1440])
def test_no_page_scrolls_sideways(browser: Browser, site: Site, width: int) -> None:
    context = browser.new_context(base_url=site.address, viewport={"width": width, "height": 844})
    page = context.new_page()
    sign_in(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()


def test_fingers_get_44_px(browser: Browser, site: Site) -> None:
    """WCAG 2.2 target size (enhanced), success criterion 2.5.5: 44 by 44 CSS pixels."""
    context = browser.new_context(
        base_url=site.address, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    sign_in(page)
    for target in page.locator(".button:visible, .masthead nav a, select:visible, input:visible").all():
        box = target.bounding_box()
        if target.get_attribute("type") in ("checkbox", "radio"):
            box = target.locator("xpath=..").bounding_box()
        assert box is not None
        assert box["height"] >= 44, target.evaluate("element => element.outerHTML")
    context.close()


def test_every_bead_shape_differs_without_colour(page: Page) -> None:
    sign_in(page)
    shapes = page.locator(".legend .bead").evaluate_all("all => all.map((bead) => bead.innerHTML)")
    assert len(shapes) == 5
    assert len(set(shapes)) == 5


def test_appearance_is_kept_for_the_next_page(page: Page) -> None:
    sign_in(page)
    page.get_by_label("Appearance").select_option("dark")
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    page.reload()
    expect(page.locator("html")).to_have_attribute("data-theme", "dark")
    dark = page.evaluate("getComputedStyle(document.body).backgroundColor")
    page.get_by_label("Appearance").select_option("light")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") != dark
