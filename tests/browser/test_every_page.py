"""Every page: nothing serious for axe in either theme, nothing sideways on a phone or at 200 % zoom."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import httpx
import pytest
from playwright.sync_api import Browser, Page
from sqlalchemy import select
from sqlalchemy.orm import joinedload
from tests.architecture.routes import every_way
from tests.browser.visits import serious_findings, sign_in

from beadline.demo import people
from beadline.features.notices.service import links
from beadline.kit import clock, places
from beadline.store.engine import make_engine, writing_sessions
from beadline.store.tables import Notice, Recomputation

BED, TRANSITION = "/columns/CL-0357", "elution%20to%20strip"
# an address of each route that answers with a page; what is made for it is in `furnished`
PAGES = {
    "/": "/",
    "/account": "/account",
    "/alerts": "/alerts?status=all",
    "/alerts/{alert_id}": "/alerts/1",
    "/calendar": "/calendar",
    "/campaign-reviews": "/campaign-reviews",
    "/campaign-reviews/checks": "/campaign-reviews/checks",
    "/campaign-reviews/new": "/campaign-reviews/new?packing=1",
    "/campaign-reviews/{review_id}": "/campaign-reviews/1",
    "/columns/{tag}": BED,
    "/columns/{tag}/cycles/{number}/transitions/{name:path}": f"{BED}/cycles/5/transitions/{TRANSITION}",
    "/help": "/help",
    "/help/{name}": "/help/running",
    "/library": "/library",
    "/library/notices": "/library/notices",
    "/library/notices/new": "/library/notices/new?kind=email",
    "/library/notices/{route_id}": "/library/notices/1",
    "/library/reading-profiles/{version_id}": "/library/reading-profiles/1",
    "/library/step-plans/new": "/library/step-plans/new",
    "/library/{shelf}/new": "/library/columns/new",
    "/log-a-run": "/log-a-run?packing=1",
    "/log-a-run/earlier/new": "/log-a-run/earlier/new?packing=1",
    "/log-a-run/typed/new": "/log-a-run/typed/new?packing=1",
    "/packings/new": "/packings/new",
    "/packings/plan": "/packings/plan",
    "/packings/{packing_id}": "/packings/1",
    "/packings/{packing_id}/baseline": "/packings/1/baseline",
    "/packings/{packing_id}/events": "/packings/1/events?correct=1",
    "/parts": "/parts",
    "/people": "/people",
    "/pulse-tests/new": "/pulse-tests/new?packing=1",
    "/pulse-tests/{test_id}": "/pulse-tests/1",
    "/notices/{notice_id}/{signature}": "",  # its signature is known when it is made
    "/recomputations": "/recomputations",
    "/recomputations/{recomputation_id}": "/recomputations/1",
    "/records": "/records",
    "/records/reviews": "/records/reviews",
    "/sign-in": "/sign-in",
}
NO_PAGES = {
    "/alerts/{alert_id}.pdf",
    "/alerts/{alert_id}/pictures/{picture_id}",
    "/campaign-reviews/{review_id}.pdf",
    "/columns/{tag}/cycles/{number}",
    "/columns/{tag}/cycles/{number}/curves.csv",
    "/columns/{tag}/results.csv",
    "/health",
    "/help/files/{name}",
    "/packings/{packing_id}.pdf",
    "/pulse-tests/{test_id}.pdf",
    "/ready",
    "/records.csv",
    "/sign-in/provider",
    "/sign-in/provider/back",
    "/static/{name:path}",
    "/traces/{trace_id}",
}


@pytest.fixture(scope="module")
def furnished(plant: str, plant_database: str) -> str:
    """The plant with an alert, an event and a recomputation; gives the link in the alert's notice."""
    program = httpx.Client(base_url=plant, auth=("enid", people.PASSWORD), timeout=120)
    trace = places.folder("seed_data") / "drop" / "knot_1_cycle_059.csv"
    run = program.post("/api/v1/runs", data={"column": "Knot"}, files={"file": trace.read_bytes()})
    assert run.status_code == 201, run.text
    sanitised = {"kind": "sanitised", "happened_at": clock.now().isoformat()}
    assert program.post("/api/v1/packings/1/events", json=sanitised).status_code == 201
    engine = make_engine(plant_database)
    with writing_sessions(engine).begin() as session:
        at = clock.now()
        facts = {"method": "fitted front", "method_version": "2", "state": "finished", "started_by_id": 1}
        session.add(Recomputation(reason="Tails", started_at=at, ended_at=at, **facts))
        notice = session.scalars(select(Notice).options(joinedload(Notice.route))).first()
        assert notice is not None
        link = links.link(notice.route, notice, address="")
    engine.dispose()
    return link


@pytest.fixture(scope="module", params=["light", "dark"])
def visit(browser: Browser, plant: str, furnished: str, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A page in one of the themes, on which Enid, an engineer, is signed in."""
    context = browser.new_context(base_url=plant, color_scheme=request.param)
    page = context.new_page()
    sign_in(page, "enid", people.PASSWORD)
    if page.goto("/campaign-reviews/1").status == 404:
        page.goto("/campaign-reviews/new?packing=1")
        page.get_by_label("Cycles planned").fill("20")
        page.get_by_label("Start", exact=True).fill(f"{clock.now():%Y-%m-%d}")
        page.get_by_role("button", name="Review this bed").click()
        page.wait_for_url("**/campaign-reviews/1")
    yield page
    context.close()


def addresses(link: str) -> Mapping[str, str]:
    return PAGES | {"/notices/{notice_id}/{signature}": link}


def test_no_page_is_forgotten():
    routes = {way.path for way in every_way() if way.method == "GET" and not way.path.startswith("/api/")}
    assert routes == set(PAGES) | NO_PAGES


@pytest.mark.parametrize("route", PAGES)
def test_a_page_is_sound(visit: Page, furnished: str, route: str) -> None:
    """At 390 px; at 720 px, which is what a window of 1440 px has at 200 % zoom; and for axe."""
    visit.set_viewport_size({"width": 390, "height": 900})
    answer = visit.goto(addresses(furnished)[route])
    assert answer is not None and answer.status == 200
    is_dark = visit.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")
    for width in (
        () if is_dark else (390, 720)
    ):  # no theme moves anything; rising, since a chart that has to shrink does so a moment later
        visit.set_viewport_size({"width": width, "height": 900})
        wide = visit.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{wide} px at {width} px: {widest(visit, width)}"
    visit.set_viewport_size({"width": 1440, "height": 900})
    assert serious_findings(visit) == []


def widest(page: Page, width: int) -> list[str]:
    """What reaches beyond the window, outermost first."""
    script = """width => [...document.querySelectorAll("main *")]
        .filter((one) => one.getBoundingClientRect().right > width + 1)
        .slice(0, 3).map((one) => one.outerHTML.slice(0, 120))"""
    found: list[str] = page.evaluate(script, width)
    return found
