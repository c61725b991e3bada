"""How soon the pages Columns and Column can be used, in real Chromium, and how much they ship.

    python -m tests.benchmarks.pages

Columns with 500 beds and Column with 300 cycles and 10 metrics, copied from a bed of the demo. Interactive:
every module of the page has started, so that keys and presses are heard; all rows, and every chart that the
window shows, have been painted, the charts at least as the sketch that answers to keys and presses as the
plotting library's does; and the script's thread is free to answer. A chart below the window may come later,
as does the library, which takes the sketches' place when a pointer comes or nobody has done anything for a
while; how long that work keeps the thread is printed beside. Another cycle: from the key to its curve
painted. Cold: nothing cached. Medians of several tries.
"""

from __future__ import annotations

import statistics
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from shutil import which

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from tests.benchmarks import crowding
from tests.browser.serving import served
from tests.browser.visits import until

from beadline.demo import loading, people
from beadline.kit import clock
from beadline.settings import Settings
from beadline.store import migrate
from beadline.store.engine import make_engine, writing_sessions

BEDS, CYCLES, METRICS, TRIES = 500, 300, 10, 5
BED = "Knot 1"
NEVER = 120_000
WHEN_READY = """
window.usable = new Promise((resolve) => {
  const isBelow = (root) => root.getBoundingClientRect().top > innerHeight
  const started = (root) => ["ready", "sketched", "drawn"].includes(root.dataset.state) || isBelow(root)
  const look = () => {
    const roots = [...document.querySelectorAll("[data-module]")]
    if (document.readyState === "loading" || !roots.length || !roots.every(started)) return
    requestAnimationFrame(() => setTimeout(() => resolve(performance.now())))
  }
  const watched = { subtree: true, childList: true, attributeFilter: ["data-state"] }
  new MutationObserver(look).observe(document, watched)
  document.addEventListener("DOMContentLoaded", look)
})
window.longest = 0
window.usable.then(() => new PerformanceObserver((list) => {
  for (const task of list.getEntries()) window.longest = Math.max(window.longest, task.duration)
}).observe({ type: "longtask" }))
"""
ALL_DRAWN = """document.querySelectorAll("[data-state=sketched], [data-state=drawing]").length === 0"""
STEP = """
() => new Promise((resolve) => {
  const panel = document.querySelector("[data-fragment]")
  const slider = document.querySelector("[role=slider]")
  const began = performance.now()
  const drawn = () => {
    const curves = [...panel.querySelectorAll("[data-module=curve]")]
    if (panel.dataset.busy === "true" || !["sketched", "drawn"].includes(curves[0]?.dataset.state)) return
    watching.disconnect()
    requestAnimationFrame(() => setTimeout(() => resolve(performance.now() - began)))
  }
  const watching = new MutationObserver(drawn)
  watching.observe(panel, { subtree: true, childList: true, attributeFilter: ["data-state", "data-busy"] })
  slider.dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowLeft", bubbles: true }))
})
"""


@contextmanager
def plant() -> Iterator[str]:
    """Serve a large plant; gives its address."""
    with tempfile.TemporaryDirectory() as folder:
        settings = Settings(database_url=f"sqlite:///{Path(folder) / 'plant.db'}", demo=True)
        engine = make_engine(settings.database_url)
        migrate.upgrade(engine)
        sessions = writing_sessions(engine)
        loading.load(sessions, today=clock.now().date(), progress=lambda done, total: None, only=(BED,))
        with engine.begin() as connection:
            crowding.add_beds(connection, 1, to=BEDS)
            crowding.add_cycles(connection, 1, to=CYCLES)
        engine.dispose()
        with served(settings) as address:
            yield address


def visitor(browser: Browser, address: str) -> BrowserContext:
    """Open a browser with an empty cache on which a person is signed in."""
    context = browser.new_context(base_url=address, viewport={"width": 1440, "height": 900})
    context.add_init_script(WHEN_READY)
    context.set_default_timeout(NEVER)
    page = context.new_page()
    page.goto("/sign-in")
    page.context.request.post("/sign-in", form=_form(page))
    page.close()
    return context


def _form(page: Page) -> dict[str, str | float | bool]:
    token = page.locator("form [name=csrf_token]").first.get_attribute("value") or ""
    return {"csrf_token": token, "name": "ines", "password": people.PASSWORD}


def opened(page: Page, path: str) -> float:
    """Open a page; return after how long it could be used [ms]."""
    page.goto(path, wait_until="commit")
    return float(page.evaluate("window.usable"))


def shipped(context: BrowserContext, path: str) -> tuple[float, float]:
    """Return what a page ships, as transferred: our own files, and the plotting library [kB]."""
    page = context.new_page()
    network = context.new_cdp_session(page)
    network.send("Network.enable")
    addresses: dict[str, str] = {}
    sizes: dict[str, float] = {}
    network.on("Network.responseReceived", lambda e: addresses.update({e["requestId"]: e["response"]["url"]}))
    network.on("Network.loadingFinished", lambda e: sizes.update({e["requestId"]: e["encodedDataLength"]}))
    opened(page, path)
    page.wait_for_timeout(300)
    page.close()
    library = sum(size for key, size in sizes.items() if "plotly" in addresses.get(key, ""))
    return (sum(sizes.values()) - library) / 1000, library / 1000


def measure(browser: Browser, address: str, title: str, path: str) -> None:
    """Print how soon a page can be used, cold and warm, and what it ships."""
    cold, warm, later = [], [], []
    for _ in range(TRIES):
        context = visitor(browser, address)
        page = context.new_page()
        cold.append(opened(page, path))
        until(page, ALL_DRAWN, within_s=NEVER / 1000)
        later.append(float(page.evaluate("longest")))
        warm.append(opened(page, path))
        context.close()
    context = visitor(browser, address)
    own, library = shipped(context, path)
    context.close()
    print(f"{title}: cold {_median(cold)}, warm {_median(warm)}")
    print(f"  longest work afterwards, until every chart is drawn: {_median(later)}")
    print(f"  ships {own:.0f} kB, and the plotting library's {library:.0f} kB")


def measure_selecting(browser: Browser, address: str, path: str) -> None:
    """Print how soon the next cycle's curve is drawn."""
    context = visitor(browser, address)
    page = context.new_page()
    opened(page, path)
    times = [float(page.evaluate(STEP)) for _ in range(4 * TRIES)]
    context.close()
    print(f"another cycle: {_median(times)}")


def _median(times: list[float]) -> str:
    return f"{statistics.median(times):.0f} ms ({min(times):.0f} to {max(times):.0f})"


def with_metrics(browser: Browser, address: str, path: str) -> str:
    """Return the page's address with so many metrics chosen."""
    context = visitor(browser, address)
    page = context.new_page()
    opened(page, path)
    keys = page.locator("input[name=show]").evaluate_all("all => all.map((one) => one.value)")
    context.close()
    return f"{path}?show={'~'.join(keys[:METRICS])}"


def main() -> None:
    """Print all figures."""
    with plant() as address, sync_playwright() as playwright:
        flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        browser = playwright.chromium.launch(executable_path=which("chromium"), args=flags)
        measure(browser, address, f"Columns, {BEDS} beds", "/")
        column = with_metrics(browser, address, "/columns/CL-0357")
        measure(browser, address, f"Column, {CYCLES} cycles, {METRICS} metrics", column)
        measure_selecting(browser, address, column)
        browser.close()


if __name__ == "__main__":
    main()
