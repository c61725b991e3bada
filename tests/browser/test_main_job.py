"""The main job as a tired operator does it: find the bed, log its run, see the verdict, acknowledge.

The beds are two of the invented demo plant's, loaded through the services; the file is one that lies in
seed_data/drop. That file's bed has begun to crack: the physical model opens a fast path from cycle 58 on.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from tests.browser.visits import serious_findings

from beadline.demo import people
from beadline.kit import clock, places

DROP = places.folder("seed_data") / "drop"


@pytest.fixture
def operator(browser: Browser, plant: str) -> Iterator[Page]:
    """A page on which Ines, an operator, is signed in; it may say nothing on its console."""
    context = browser.new_context(base_url=plant)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto("/sign-in")
    page.get_by_label("Name").fill("ines")
    page.get_by_label("Password").fill(people.PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url("**/")
    yield page
    context.close()
    foreseen = ("status of 4", "net::ERR_CONNECTION_REFUSED")
    assert [text for text in said if not any(part in text for part in foreseen)] == []


FIRST_MS = 30_000  # the first file that a server reads makes it load scipy and pandas


def choose(page: Page, bed: str, path: Path) -> None:
    page.goto("/log-a-run")
    page.get_by_label("Bed", exact=True).select_option(label=bed)
    page.get_by_label("Trace file of the run").set_input_files(path)


def test_a_run_is_logged_and_its_alert_acknowledged(operator: Page) -> None:
    page = operator
    row = page.get_by_role("row").filter(has=page.get_by_role("link", name="Knot", exact=True))
    expect(row).to_contain_text("58 of")
    expect(row.get_by_role("img", name="58 cycles")).to_be_visible()
    assert serious_findings(page) == []

    row.get_by_role("link", name="Knot", exact=True).click()
    page.locator("[data-module=trends][data-state=drawn]").wait_for()
    expect(page.locator("[data-fragment] h2").first).to_contain_text("Cycle 58")
    page.get_by_role("slider", name="Cycle").press("Home")
    expect(page.locator("[data-fragment] h2").first).to_contain_text("Cycle 1 ")
    assert serious_findings(page) == []

    choose(page, "Knot, packing 1", DROP / "knot_1_cycle_059.csv")
    seen = page.locator("[data-seen]")
    expect(seen).to_contain_text("would raise an alert", timeout=FIRST_MS)
    expect(seen).to_contain_text("conductivity in mS/cm")
    expect(seen).to_contain_text("cycle 59 of Knot")
    seen.locator("[data-module=curve][data-state=drawn]").first.wait_for()
    assert serious_findings(page) == []

    page.get_by_label("Batch").fill("KN-140")
    page.get_by_role("button", name="Record this run").click()
    page.wait_for_url("**/columns/**cycle=59", timeout=FIRST_MS)
    expect(page.locator("[data-fragment] h2").first).to_contain_text("Cycle 59")
    expect(page.locator("[data-fragment]").first).to_contain_text("logged by Ines Okafor")

    page.goto("/alerts")
    expect(page.get_by_role("main")).to_contain_text("Knot")
    page.get_by_role("row").filter(has_text="Knot").get_by_role("link").first.click()
    expect(page.get_by_role("main")).to_contain_text("Channel or crack", ignore_case=True)
    page.get_by_label("Comment").fill("Seen; the next batch waits for a pulse test.")
    page.get_by_role("button", name="Acknowledge").click()
    expect(page.get_by_role("main")).to_contain_text("acknowledged")
    expect(page.get_by_role("main")).to_contain_text("the next batch waits")
    assert serious_findings(page) == []

    page.goto("/")
    expect(page.get_by_role("row").filter(has_text="Knot")).to_contain_text("59 of")

    choose(page, "Knot, packing 1", DROP / "knot_1_cycle_059.csv")
    expect(seen).to_contain_text("Recorded already, as cycle 59")
    page.get_by_role("button", name="Record this run").click()
    expect(page.get_by_role("main")).to_contain_text("recorded already, as cycle 59, logged by Ines Okafor")


def small(path: Path) -> Path:
    """The run of the largest column in microlitres, so that it may be one of the smallest."""
    path.write_text(
        (DROP / "oystercatcher_1_cycle_187.csv").read_text().replace("Volume [mL]", "Volume [uL]")
    )
    return path


def test_what_was_recognised_can_be_corrected(operator: Page, tmp_path: Path) -> None:
    page = operator
    choose(page, "Sanderling, packing 1", small(tmp_path / "small.csv"))
    seen = page.locator("[data-seen]")
    seen.get_by_text("Correct how the file is read").click(timeout=FIRST_MS)
    unit = seen.get_by_label("Conductivity [mS/cm]: unit")
    unit.fill("bar")
    unit.press("Tab")
    expect(seen.get_by_role("alert")).to_contain_text("bar")


def test_a_file_without_units_is_mended_on_the_page(operator: Page, tmp_path: Path) -> None:
    """The shipped file with its units taken out of the header: the volume's unit is given by hand."""
    page = operator
    path = small(tmp_path / "bare.csv")
    path.write_text(path.read_text().replace("Volume [uL]", "Volume"))
    choose(page, "Sanderling, packing 1", path)
    seen = page.locator("[data-seen]")
    expect(seen.get_by_role("alert")).to_be_visible(timeout=FIRST_MS)
    unit = seen.get_by_label("Volume: unit")
    unit.fill("uL")
    unit.press("Tab")
    expect(seen.get_by_role("alert")).to_have_count(0)
    expect(seen).to_contain_text("“Volume” as volume in uL")


def test_the_files_start_is_filled_in_until_a_person_writes_another(operator: Page, tmp_path: Path) -> None:
    page, whole = operator, small(tmp_path / "small.csv").read_text()
    numbers = whole[whole.index("Volume [uL]") :]

    def dated(minutes_ago: int) -> tuple[Path, str]:
        moment = clock.now() - timedelta(minutes=minutes_ago)
        path = tmp_path / f"{minutes_ago}.csv"
        path.write_text(f"Run started {moment:%Y-%m-%d %H:%M}\n{numbers}")
        return path, f"{moment:%Y-%m-%dT%H:%M}"

    path, moment = dated(30)
    choose(page, "Sanderling, packing 1", path)
    started, file = page.get_by_label("Started (UTC)"), page.get_by_label("Trace file of the run")
    expect(started).to_have_value(moment, timeout=FIRST_MS)
    path, moment = dated(20)
    file.set_input_files(path)
    expect(started).to_have_value(moment)
    started.fill("2026-01-02T03:04")
    path, moment = dated(10)
    file.set_input_files(path)
    expect(page.locator("[data-seen]")).to_contain_text(moment.replace("T", " "))
    expect(started).to_have_value("2026-01-02T03:04")


def test_a_file_that_is_none_is_refused_where_it_was_dropped(operator: Page, tmp_path: Path) -> None:
    path = tmp_path / "letter.csv"
    path.write_text("Dear colleagues,\nthe column is fine.\n")
    choose(operator, "Sanderling, packing 1", path)
    expect(operator.locator("[data-seen]").get_by_role("alert")).to_be_visible(timeout=FIRST_MS)
    operator.get_by_role("button", name="Record this run").click()
    expect(operator.get_by_role("main").get_by_role("alert").first).to_be_visible()
    operator.goto("/")
    expect(operator.get_by_role("row").filter(has_text="Sanderling")).to_contain_text("9 of")


def test_cycles_are_selected_together_and_the_link_keeps_them_and_the_zoom(operator: Page) -> None:
    page = operator
    page.goto("/")
    page.get_by_role("link", name="Knot", exact=True).click()
    page.locator("[data-module=trends][data-state=drawn]").wait_for()
    chart = page.get_by_role("slider", name="Cycle")
    chart.press("Shift+Home")
    side = page.get_by_role("region", name="Selected cycles side by side")
    newest = re.compile("ycle 5[89]")  # another test logs a run
    expect(side.get_by_role("columnheader")).to_have_text(
        [re.compile("Number"), re.compile("Cycle 1$"), newest]
    )
    page.locator("[data-module=curve][data-state=drawn]").first.wait_for()
    expect(page.locator(".curve .legendtext").first).to_have_text(newest)
    chart.press("+")
    expect(page.get_by_role("button", name="Show all cycles")).to_be_visible()
    page.reload()
    expect(side.get_by_role("columnheader").last).to_have_text(newest)
    expect(page.get_by_role("button", name="Show all cycles")).to_be_visible()
    page.get_by_role("button", name="Show all cycles").click()
    page.get_by_role("button", name=newest).click()
    expect(side).to_have_count(0)
    assert "zoom" not in page.url
    assert "with" not in page.url


def test_a_brush_zooms_every_chart_at_once(operator: Page) -> None:
    page = operator
    page.goto("/")
    page.get_by_role("link", name="Knot", exact=True).click()
    for module in ("trends", "ribbon"):
        page.locator(f"[data-module={module}][data-state=drawn]").wait_for()
    plot = page.locator("[data-module=trends] .plot")
    plot.scroll_into_view_if_needed()
    box = plot.bounding_box()
    assert box is not None
    across, down = box["x"] + box["width"] / 2, box["y"] + 110
    page.mouse.move(across, down)
    page.mouse.down()
    page.mouse.move(across + 100, down, steps=5)
    page.mouse.up()
    ticks = (
        "[...document.querySelectorAll('[data-module=%s] .xtick > text')].map((text) => +text.textContent)"
    )
    page.get_by_role("button", name="Show all cycles").wait_for()
    for module in ("trends", "ribbon"):
        assert min(page.evaluate(ticks % module)) > 20
