"""Pages that are open while others work: what is new appears, and a page that hears nothing says so."""

from __future__ import annotations

from pathlib import Path

import httpx
from playwright.sync_api import Browser, expect
from tests.browser.serving import served
from tests.browser.visits import serious_findings

from beadline.demo import loading, people
from beadline.kit import clock, places
from beadline.settings import Settings
from beadline.store import migrate
from beadline.store.engine import make_engine, writing_sessions

FILE = places.folder("seed_data") / "drop" / "knot_1_cycle_059.csv"
SOON_MS = 15_000


def test_a_new_run_and_its_alert_appear_without_reload_and_a_lost_server_is_said(
    browser: Browser, tmp_path: Path
) -> None:
    settings = Settings(database_url=f"sqlite:///{tmp_path / 'plant.db'}", demo=True)
    engine = make_engine(settings.database_url)
    migrate.upgrade(engine)
    new_session = writing_sessions(engine)
    loading.load(
        new_session, today=clock.now().date(), progress=lambda *_: None, only=("Knot 1", "Sanderling 1")
    )
    engine.dispose()
    context = browser.new_context()
    with served(settings) as address:
        page = context.new_page()
        page.goto(f"{address}/sign-in")
        page.get_by_label("Name").fill("ines")
        page.get_by_label("Password").fill(people.PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/")
        of_knot, of_other = context.new_page(), context.new_page()
        page.get_by_role("link", name="Knot", exact=True).wait_for()
        for tab, name in ((of_knot, "Knot"), (of_other, "Sanderling")):
            tab.goto(f"{address}{page.get_by_role('link', name=name, exact=True).get_attribute('href')}")
        row = page.get_by_role("row").filter(has=page.get_by_role("link", name="Knot", exact=True))
        expect(row).to_contain_text("58 of")
        sent = httpx.post(
            f"{address}/api/v1/runs",
            data={"column": "Knot"},
            files={"file": (FILE.name, FILE.read_bytes())},
            auth=("ines", people.PASSWORD),
            timeout=60,
        )
        assert sent.status_code == 201
        expect(row).to_contain_text("59 of", timeout=SOON_MS)
        expect(row.get_by_role("link", name="open alert")).to_be_visible()
        expect(page.locator("[data-module=sortTable][data-state=ready]")).to_be_visible()
        expect(of_knot.locator(".news")).to_contain_text("Knot", timeout=SOON_MS)
        expect(of_other.locator(".news [role=status]")).to_be_empty()
        assert serious_findings(of_knot) == []
        of_knot.get_by_role("link", name="Show it").click()
        expect(of_knot.get_by_role("main")).to_contain_text("59 of")
    expect(page.locator(".news")).to_contain_text("may be out of date", timeout=2 * SOON_MS)
    context.close()
