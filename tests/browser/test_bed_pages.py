"""Columns and Column on an invented bed: charts, keys, touch, scripts off, printing, accessibility."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.conftest import Site
from tests.browser.sample import CYCLES, VOID
from tests.browser.visits import serious_findings, until

COLUMNS, COLUMN = "/sample/columns", "/sample/columns/GW-80"


def open_column(page: Page, query: str = "") -> None:
    page.goto(COLUMN + query)
    for module in ("trends", "ribbon", "curve"):
        page.locator(f"[data-module={module}][data-state=drawn]").first.wait_for()


def test_every_chart_is_drawn_under_the_strict_policy(page: Page) -> None:
    """The page fixture fails on any refused style or script."""
    open_column(page)
    assert page.locator("[data-state=failed]").count() == 0
    assert page.locator("[data-module=trends] .plot .main-svg").first.is_visible()


def test_arrow_keys_walk_the_cycles_and_the_address_follows(page: Page) -> None:
    open_column(page)
    chart = page.get_by_role("slider", name="Cycle")
    chart.press("ArrowLeft")
    expect(page.get_by_role("heading", name=f"Cycle {CYCLES - 1} ")).to_be_visible()
    expect(chart).to_have_attribute("aria-valuenow", str(CYCLES - 1))
    chart.press("Home")
    expect(page.get_by_role("heading", name="Cycle 1 ", exact=False)).to_be_visible()
    assert "cycle=1" in page.url
    page.reload()
    expect(page.locator("[data-fragment] h2")).to_contain_text("Cycle 1 ")


def test_a_click_on_a_bead_selects_its_cycle(page: Page) -> None:
    open_column(page)
    box = page.locator("[data-module=trends] .plot").bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 110)
    page.mouse.click(box["x"] + box["width"] / 2, box["y"] + 110)
    expect(page.locator("[data-fragment] h2")).not_to_contain_text(f"Cycle {CYCLES} ")
    number = int(page.url.split("cycle=")[1])
    assert 10 < number < 30


def test_a_tap_selects_a_cycle_on_a_phone(browser: Browser, site: Site) -> None:
    context = browser.new_context(
        base_url=site.address, viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    page = context.new_page()
    open_column(page)
    plot = page.locator("[data-module=trends] .plot")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + box["width"] / 2, box["y"] + 110)
    expect(page.locator("[data-fragment] h2")).not_to_contain_text(f"Cycle {CYCLES} ")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    context.close()


def test_stepping_replaces_the_curves_and_leaves_none_behind(page: Page) -> None:
    open_column(page)
    before = page.locator("[data-module=curve]").count()
    page.get_by_role("button", name="Previous cycle").click()
    expect(page.locator("[data-fragment] h2")).to_contain_text(f"Cycle {CYCLES - 1} ")
    page.locator("[data-module=curve][data-state=drawn]").first.wait_for()
    assert page.locator("[data-module=curve]").count() == before


def test_more_metrics_can_be_shown_and_the_address_keeps_them(page: Page) -> None:
    open_column(page)
    page.get_by_label("Early foot").check()
    expect(page.locator(".plot .subplot")).not_to_have_count(0)
    until(page, "document.querySelectorAll('[data-module=trends] .yaxislayer-above').length >= 4")
    page.reload()
    expect(page.get_by_label("Early foot")).to_be_checked()


def test_the_page_can_be_used_before_the_plotting_library_is_there(page: Page) -> None:
    page.route("**/plotly.min.*", lambda route: None)  # it never comes
    page.goto(COLUMN, wait_until="commit")
    chart = page.get_by_role("slider", name="Cycle")
    trends = page.locator("[data-module=trends]")
    expect(trends).to_have_attribute("data-state", "sketched")
    expect(trends.locator(".sketch")).to_contain_text("action 0.0432")
    chart.press("ArrowLeft")
    expect(page.locator("[data-fragment] h2")).to_contain_text(f"Cycle {CYCLES - 1} ")
    expect(page.locator("[data-module=curve]").first).to_have_attribute("data-state", "sketched")
    box = chart.bounding_box()
    assert box is not None
    chart.click(position={"x": box["width"] / 2, "y": 110})
    expect(page.locator("[data-fragment] h2")).not_to_contain_text(f"Cycle {CYCLES - 1} ")
    assert 10 < int(page.url.split("cycle=")[1]) < 30
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert trends.locator(".sketch").get_attribute("width") == "660"


def test_the_library_draws_in_place_of_the_sketch_when_a_pointer_comes(page: Page) -> None:
    page.goto(COLUMN)
    page.get_by_role("slider", name="Cycle").hover()
    page.locator("[data-module=trends][data-state=drawn]").wait_for()
    assert page.locator("[data-module=trends] .sketch").count() == 0


def test_limits_are_named_in_the_chart(page: Page) -> None:
    open_column(page)
    text = page.locator("[data-module=trends] .plot").inner_text()
    assert "action 0.0432" in text
    assert "alert 0.0391" in text


def test_charts_follow_the_colours(page: Page) -> None:
    open_column(page)
    ring = "[data-module=trends] .plot .scatterlayer .js-line"
    light = page.locator(ring).first.evaluate("line => getComputedStyle(line).stroke")
    page.get_by_label("Appearance").select_option("dark")
    until(page, f"getComputedStyle(document.querySelector('{ring}')).stroke !== '{light}'")


def test_without_script_every_number_is_in_a_table(browser: Browser, site: Site) -> None:
    context = browser.new_context(base_url=site.address, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{COLUMN}?cycle=3")
    expect(page.locator("[data-fragment] h2")).to_contain_text("Cycle 3 ")
    page.get_by_text("Every cycle as a table").click()
    rows = page.get_by_role("region", name="Results of every cycle").locator("tbody tr")
    expect(rows).to_have_count(CYCLES)
    expect(rows.nth(VOID - 1)).to_contain_text("not usable")
    page.locator("select#cycle").select_option("7")
    page.locator(".stepper").get_by_role("button", name="Show").click()
    expect(page.locator("[data-fragment] h2")).to_contain_text("Cycle 7 ")
    context.close()


def test_the_table_of_all_cycles_is_made_when_it_is_opened(page: Page) -> None:
    page.route("**/plotly.min.*", lambda route: None)  # drawing would keep the page waiting
    page.goto(COLUMN, wait_until="commit")
    table = page.get_by_role("region", name="Results of every cycle")
    page.locator("details[data-state=ready]").first.wait_for()
    assert table.count() == 0
    page.get_by_text("Every cycle as a table").click()
    expect(table.locator("tbody tr")).to_have_count(CYCLES)
    expect(table.locator("tbody tr").nth(VOID - 1)).to_contain_text("not usable")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_serious(browser: Browser, site: Site, scheme: str) -> None:
    context = browser.new_context(base_url=site.address, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(COLUMNS)
    assert serious_findings(page) == []
    open_column(page)
    page.locator("details").evaluate_all("all => all.forEach((one) => (one.open = true))")
    assert serious_findings(page) == []
    context.close()


@pytest.mark.parametrize("width", [390, 820, 1440])
def test_no_page_scrolls_sideways(browser: Browser, site: Site, width: int) -> None:
    context = browser.new_context(base_url=site.address, viewport={"width": width, "height": 844})
    page = context.new_page()
    page.goto(COLUMNS)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    open_column(page)
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()


def test_charts_keep_to_their_place_when_the_window_changes_and_on_paper(page: Page) -> None:
    open_column(page)
    page.set_viewport_size({"width": 900, "height": 700})
    overlap = """() => [...document.querySelectorAll('.plot')].some((plot) => {
        const chart = plot.querySelector('.svg-container')?.getBoundingClientRect()
        const place = plot.getBoundingClientRect()
        return !chart || chart.bottom > place.bottom + 1 || chart.right > place.right + 1
    })"""
    until(page, f"!({overlap})()")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    widths = page.locator(".plot .svg-container").evaluate_all("all => all.map((one) => one.offsetWidth)")
    assert max(widths) <= 660
    page.evaluate("dispatchEvent(new Event('afterprint'))")
    until(page, f"!({overlap})()")


def test_beds_sort_by_a_heading_and_back_to_worst_first(page: Page) -> None:
    page.goto(COLUMNS)
    names = page.locator(".bed-name")
    expect(names).to_have_text(["Godwit 80", "Dunlin 60", "Avocet 100"])
    cycles = page.get_by_role("button", name="Cycles", exact=True)
    cycles.click()
    expect(names).to_have_text(["Avocet 100", "Godwit 80", "Dunlin 60"])
    cycles.press("Enter")
    expect(names).to_have_text(["Dunlin 60", "Godwit 80", "Avocet 100"])
    cycles.click()
    expect(names).to_have_text(["Godwit 80", "Dunlin 60", "Avocet 100"])


def test_a_row_that_lays_out_its_own_cells_is_a_row_for_screen_readers(page: Page) -> None:
    page.goto(COLUMNS)
    tree = page.context.new_cdp_session(page).send("Accessibility.getFullAXTree")["nodes"]
    roles = [node["role"]["value"] for node in tree if not node["ignored"]]
    counts = {role: roles.count(role) for role in ("table", "row", "columnheader", "rowheader", "cell")}
    assert counts == {"table": 1, "row": 4, "columnheader": 9, "rowheader": 3, "cell": 24}


def test_a_string_says_in_words_what_it_shows(page: Page) -> None:
    page.goto(COLUMNS)
    strings = page.get_by_role("img")
    expect(strings.first).to_have_accessible_name(
        f"{CYCLES} cycles; 4 past the alert limit, 5 past the action limit, 1 not usable. "
        f"Drift at cycle {CYCLES}: 12.0 baseline standard deviations."
    )
