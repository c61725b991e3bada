"""A run's start is taken from its file where nobody says it; a person's word goes first."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from tests import builders, sites
from tests.sites import PLOVER, Site
from tests.visitors import bearer

FILE = builders.make_cycle_file(PLOVER, 1)
NUMBERS = FILE.content[FILE.content.index(b"Volume") :]


def saying(line: str) -> tuple[str, bytes]:
    return "run.csv", line.encode() + b"\n" + NUMBERS


@pytest.fixture
def vienna(open_site: Callable[..., Site]) -> Site:
    return open_site(sites.fill_beds, site_timezone="Europe/Vienna")


def started(site: Site) -> str:
    with site.engine.connect() as connection:
        return str(connection.exec_driver_sql("select started_at from cycles").scalar_one())[:16]


@pytest.mark.parametrize(
    ("line", "stored"),
    [
        ("Run started 2025-03-04 05:06", "2025-03-04 04:06"),  # Vienna is an hour ahead of UTC in winter
        ("Run started 2025-07-04 05:06", "2025-07-04 03:06"),
        ("Run started 2025-03-04 05:06+00:00", "2025-03-04 05:06"),
    ],
)
def test_the_file_says_when_the_run_started(vienna: Site, line: str, stored: str):
    answer = vienna.post_run(saying(line), credentials=bearer(vienna.token("operator")))
    assert answer.status_code == 201, answer.text
    assert started(vienna) == stored


def test_a_persons_word_goes_before_the_file(vienna: Site):
    said = {"started_at": "2025-03-05T08:00"}
    answer = vienna.post_run(
        saying("Run started 2025-03-04 05:06"), credentials=bearer(vienna.token("operator")), **said
    )
    assert answer.status_code == 201
    assert started(vienna) == "2025-03-05 07:00"


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("Run started 2001-01-01 00:00", "before this bed was packed"),
        ("Started 2098-01-01 00:00", "still to come"),
    ],
)
def test_a_start_that_can_not_be_is_said_and_not_taken(vienna: Site, line: str, said: str):
    name, content = saying(line)
    operator = vienna.visitor("operator")
    seen = operator.post("/log-a-run/look", {"packing": "1"}, file=(name, content))
    assert seen.status_code == 200
    assert said in seen.text
    assert 'data-started-at=""' in seen.text
    assert vienna.post_run((name, content), credentials=bearer(vienna.token("operator"))).status_code == 201
    assert not started(vienna).startswith(("2001", "2098"))


def test_a_start_before_the_newest_run_is_said_and_not_taken(vienna: Site):
    credentials = bearer(vienna.token("operator"))
    vienna.post_run(saying("Run started 2025-03-04 05:06"), credentials=credentials)
    older = saying("Run started 2025-02-04 05:06")
    seen = vienna.visitor("operator").post("/log-a-run/look", {"packing": "1"}, file=older)
    assert "lies before that of cycle 1, the newest" in seen.text.replace("&#39;", "'")
    numbered = vienna.post_run(older, credentials=credentials, number="5", another_run="true").json()
    assert numbered["started_at"][:10] == "2025-02-04"


def test_the_page_offers_the_start_in_the_sites_zone(vienna: Site):
    name, content = saying("Run started 2025-03-04T05:06Z")
    seen = vienna.visitor("operator").post("/log-a-run/look", {"packing": "1"}, file=(name, content))
    assert 'data-started-at="2025-03-04T06:06"' in seen.text
    assert "2025-03-04 06:06 (Europe/Vienna), as the file says" in seen.text
