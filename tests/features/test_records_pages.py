"""The page Records: choose, page, verify, export; and traces as received."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Callable
from datetime import UTC, datetime
from itertools import pairwise

import pytest
from tests import sites
from tests.library_forms import fill_packed
from tests.sites import Site
from tests.visitors import Visitor

from beadline.features.records import service as records
from beadline.kit import clock

TRIGGER = {"sqlite": "records_no_update", "postgresql": "records_only_grow on records"}


@pytest.fixture
def packed(open_site: Callable[..., Site]) -> Site:
    return open_site(fill_packed)


@pytest.fixture
def viewer(packed: Site) -> Visitor:
    return packed.visitor("viewer")


def test_records_are_chosen_by_who_what_and_when(viewer: Visitor):
    only = viewer.page("/records?thing=packing")
    assert "Recorded packing 1 of Dunlin" in only
    assert "Recorded column Dunlin" not in only
    assert "Recorded column Dunlin" in viewer.page("/records?user_name=engineer")
    assert "No record fits" in viewer.page("/records?until=2001-01-01")
    viewer.page("/records?since=soon", 422)


def test_the_chain_is_verified_when_that_is_asked(viewer: Visitor):
    assert "chain holds" not in viewer.page("/records")
    assert "The whole chain holds." in viewer.page("/records?verify=yes")


def test_a_record_altered_behind_our_back_is_found(packed: Site, viewer: Visitor):
    """As somebody could who has the database's password."""
    with packed.engine.begin() as connection:
        connection.exec_driver_sql(f"drop trigger {TRIGGER[connection.dialect.name]}")
        connection.exec_driver_sql("update records set said = 'Nothing happened' where id = 5")
    assert "The chain breaks at record 5." in viewer.page("/records?verify=yes")


def test_the_export_holds_what_was_chosen_oldest_first_with_the_chain(viewer: Visitor):
    rows = list(csv.DictReader(io.StringIO(viewer.page("/records.csv?user_name=engineer"))))
    assert any(row["said"].startswith("Recorded column Dunlin") for row in rows)
    assert {row["user_name"] for row in rows} == {"engineer"}
    whole = list(csv.DictReader(io.StringIO(viewer.page("/records.csv"))))
    assert [int(row["id"]) for row in whole] == list(range(1, len(whole) + 1))
    assert all(later["previous_sha256"] == earlier["sha256"] for earlier, later in pairwise(whole))


def test_a_cell_that_a_spreadsheet_would_compute_is_made_harmless(packed: Site, viewer: Visitor):
    packed.visitor("engineer").send("/packings/1/hold", {"reason": "=1+1"})
    rows = list(csv.DictReader(io.StringIO(viewer.page("/records.csv?thing=packing"))))
    assert rows[-1]["why"] == "'=1+1"


def test_old_records_are_a_page_further(packed: Site, viewer: Visitor):
    with packed.writing() as session:
        for number in range(100):
            records.write(
                session,
                by=None,
                at=clock.now(),
                did="see",
                thing="test",
                thing_id=number,
                said=f"No. {number}.",
            )
    first, second = viewer.page("/records"), viewer.page("/records?page=2")
    assert "Page 1 of 2" in first
    assert ("No. 99." in first, "Recorded column Dunlin" in first) == (True, False)
    assert ("No. 99." in second, "Recorded column Dunlin" in second) == (False, True)


def test_a_trace_is_sent_as_it_came_once_somebody_is_signed_in(life: Site):
    with life.engine.connect() as connection:
        name, sha256 = connection.exec_driver_sql("select filename, sha256 from traces where id = 3").one()
    answer = life.visitor("viewer").get("/traces/3")
    assert hashlib.sha256(answer.content).hexdigest() == sha256 == answer.headers["x-content-sha256"]
    assert name in answer.headers["content-disposition"]
    assert life.client.get("/traces/3", follow_redirects=False).status_code == 303
    life.visitor("viewer").page("/traces/99", 404)


def test_when_is_told_in_site_time_and_in_utc(open_site: Callable[..., Site]):
    site = open_site(sites.fill_beds, site_timezone="Asia/Kathmandu")  # a quarter of an hour off
    with site.writing() as session:
        at = datetime(2031, 3, 12, 20, 5, 9, tzinfo=UTC)
        records.write(session, by=None, at=at, did="see", thing="test", thing_id=1, said="A heron.")
    page = site.visitor("viewer").page("/records?thing=test")
    assert "13 Mar 2031 01:50" in page
    assert "20:05:09 UTC" in page
    (row,) = csv.DictReader(io.StringIO(site.visitor("viewer").page("/records.csv?thing=test")))
    assert row["at"] == "2031-03-12T20:05:09+00:00"
    assert row["at_site_time"] == "2031-03-13T01:50:09+05:45"
