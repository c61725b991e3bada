"""A form survives a reload, a server that is away and a refusal; nothing has to be typed twice."""

from __future__ import annotations

from pathlib import Path

from playwright.sync_api import Page, Route, expect
from tests.browser.test_main_job import DROP, choose, operator

__all__ = ["operator"]  # a fixture

KEPT = "kept on this device"


def note_of(page: Page, text: str) -> None:
    page.get_by_label("Note").press_sequentially(text)


def test_a_reload_loses_nothing_and_a_button_discards(operator: Page) -> None:
    page = operator
    page.goto("/log-a-run")
    page.get_by_label("Batch").fill("KN-141")
    note_of(page, "Buffer changed")
    expect(page.get_by_text(KEPT)).to_be_visible()
    page.reload()
    expect(page.get_by_label("Batch")).to_have_value("KN-141")
    expect(page.get_by_label("Note")).to_have_value("Buffer changed")
    expect(page.get_by_text(KEPT)).to_contain_text("is back in the form. The file has to be chosen again.")
    page.get_by_role("button", name="Discard it").click()
    expect(page.get_by_label("Batch")).to_have_value("")
    page.reload()
    expect(page.get_by_label("Batch")).to_have_value("")
    expect(page.get_by_text(KEPT)).to_have_count(0)


def away(route: Route) -> None:
    route.abort("connectionrefused")


def test_a_server_that_is_away_gets_the_form_when_it_is_back(operator: Page) -> None:
    page = operator
    page.goto("/log-a-run/typed/new")
    page.get_by_label("Bed", exact=True).select_option(label="Sanderling, packing 1")
    page.get_by_label("Started").fill("2026-11-20T10:00")
    page.get_by_label("Plate height").fill("0.03")
    page.route("**/log-a-run/typed", away)
    page.get_by_role("button", name="Record these values").click()
    expect(page.get_by_role("status").filter(has_text="does not answer")).to_be_visible()
    page.unroute("**/log-a-run/typed")
    page.get_by_role("button", name="Send again").click()
    page.wait_for_url("**/columns/**")
    page.goto("/log-a-run/typed/new")
    expect(page.get_by_label("Plate height")).to_have_value("")


def test_a_refusal_keeps_the_chosen_file(operator: Page, tmp_path: Path) -> None:
    page = operator
    choose(page, "Sanderling, packing 1", DROP / "knot_1_cycle_059.csv")
    page.get_by_label("Cycle", exact=True).fill("1")
    note_of(page, "a number that is taken")
    page.get_by_role("button", name="Record this run").click()
    expect(page.get_by_role("main").get_by_role("alert").first).to_be_visible(timeout=30_000)
    expect(page.get_by_label("Note")).to_have_value("a number that is taken")
    kept = page.get_by_label("Trace file of the run").evaluate("input => input.files[0].name")
    assert kept == "knot_1_cycle_059.csv"
