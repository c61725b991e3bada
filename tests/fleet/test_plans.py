"""No hot path reads a large table from one end to the other, by the databases' own plans."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from tests import builders, fleet
from tests.fleet import plans
from tests.fleet.lives import beds_of
from tests.sites import Site
from tests.visitors import bearer

from beadline.kit import clock
from beadline.settings import Settings
from beadline.worker import Worker

pytestmark = pytest.mark.every_dialect

SIZE = fleet.Size(packings=20, columns=12, cycles=20, lives=2)
LARGE = {"cycles", "transitions", "traces", "judgements", "records", "alert_events", "notices", "pulse_tests"}
LARGE |= {"kept_answers", "sign_ins"}
SHOWS_THE_FLEET = {"/library": {"cycles"}}  # how many runs each reading profile has read
BED, ILL = beds_of(SIZE)
PAGES = (
    "/",
    "/columns/{tag}",
    "/columns/{tag}/cycles/12",
    "/columns/{tag}/cycles/12?with=3~7",
    "/columns/{tag}/cycles/12/transitions/wash%20to%20strip",
    "/columns/{tag}/results.csv",
    "/log-a-run",
    "/alerts",
    "/alerts/1",
    "/calendar",
    "/library",
    "/packings/1",
    "/pulse-tests/new?packing=1",
    "/campaign-reviews",
    "/packings/1/baseline",
    "/records",
    "/records?thing=cycle",
    "/api/v1/columns",
    "/api/v1/columns/{tag}/cycles",
    "/api/v1/columns/{tag}/cycles/12",
    "/api/v1/columns/{tag}/series",
    "/api/v1/records/news?after=5",
    "/api/v1/alerts",
)


def fill_fleet(url: str) -> None:
    """Make a small fleet: that indexes are there does not depend on its size."""
    fleet.fill(url, SIZE)


@pytest.fixture
def plant(open_site: Callable[..., Site]) -> Site:
    """A site with the fleet."""
    return open_site(fill_fleet)


def scans(site: Site, said: plans.Asked) -> dict[str, set[str]]:
    """The statements that would read a large table whole, with the tables."""
    with site.engine.connect() as connection:
        found = {each: plans.scanned(connection, each, given) & LARGE for each, given in said.items()}
    return {statement: tables for statement, tables in found.items() if tables}


def test_no_page_reads_a_large_table_whole(plant: Site):
    visitor, wrong = plant.visitor("engineer"), {}
    for page in PAGES:
        with plans.asked(plant.engine) as said:
            assert visitor.get(page.format(tag=BED.column.asset_tag)).status_code == 200, page
        assert said, page
        shown = SHOWS_THE_FLEET.get(page, set())
        if found := {each: where for each, where in scans(plant, said).items() if where - shown}:
            wrong[page] = found
    assert not wrong, "\n".join(f"{page}: {found}" for page, found in wrong.items())


@pytest.mark.parametrize("bed", [BED, ILL])
def test_logging_a_run_reads_no_large_table_whole(plant: Site, bed: Any):
    credentials = bearer(plant.token("operator"))
    with plans.asked(plant.engine) as said:
        file = builders.make_cycle_file(bed, SIZE.cycles + 1)
        assert plant.post_run(file, credentials=credentials, column=bed.column.name).status_code == 201
    assert not scans(plant, said)


def test_looking_for_notices_reads_no_large_table_whole(plant: Site):
    worker = Worker(Settings(database_url=plant.settings.database_url), now=clock.now)
    with plans.asked(worker.engine) as said:
        worker.step()
    worker.engine.dispose()
    assert said
    assert not scans(plant, said)


def test_a_whole_table_is_seen_where_one_is_read(plant: Site):
    with plant.engine.connect() as connection:
        for statement in (
            "select count(*) from cycles where note = 'x'",
            "select id from traces where size_bytes = 7",
        ):
            assert plans.scanned(connection, statement, ()) & LARGE
        assert not plans.scanned(connection, "select * from cycles where id = 7", ())
