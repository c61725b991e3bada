"""Nobody changes things, or guesses, faster than the site allows; who looks is not counted."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from tests import builders, sites
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD, basic, bearer

from beadline.boundary import pace
from beadline.boundary.pace import Pace

FILE = builders.make_cycle_file(PLOVER, 1)


class Clock:
    """A clock that a test sets [s]."""

    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        return self.at


def test_a_minutes_worth_passes_at_once_and_then_one_by_one():
    now = Clock()
    made = Pace(30, now=now)
    assert [made.wait_s("ines") for _ in range(32)] == [0] * 30 + [2, 2]
    assert made.wait_s("enid") == 0
    now.at = 2.0
    assert [made.wait_s("ines") for _ in range(2)] == [0, 2]
    now.at = 1000.0
    assert [made.wait_s("ines") for _ in range(31)] == [0] * 30 + [2]


def test_what_is_remembered_is_bounded_and_the_busy_are_not_forgotten(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(pace, "MOST_KEYS", 5)
    made = Pace(1, now=Clock())
    assert made.wait_s("busy") == 0
    for number in range(50):
        made.wait_s(f"other {number}")
        assert made.wait_s("busy") == 60
    assert len(made._left) == 5


def test_a_program_that_is_too_fast_is_told_when_to_come_again(open_site: Callable[..., Site]):
    site = open_site(sites.fill_beds, changes_per_minute=3)
    site.app.state.pace.now = Clock()
    ours, others = bearer(site.token("operator")), bearer(site.token("engineer"))
    assert [site.post_run(FILE, credentials=ours).status_code for _ in range(3)] == [201, 200, 200]
    before = site.counts()
    answer = site.post_run(builders.make_cycle_file(PLOVER, 2), credentials=ours)
    assert (answer.status_code, answer.json()["code"]) == (429, "too-many")
    assert "more than 3 changes in a minute" in answer.json()["title"]
    assert int(answer.headers["retry-after"]) == 20
    assert site.counts() == before
    assert site.client.get("/api/v1/alerts", headers=ours).status_code == 200
    assert site.post_run(FILE, credentials=others).status_code == 200


def test_a_browser_counts_as_its_person(open_site: Callable[..., Site]):
    site = open_site(sites.fill_beds, changes_per_minute=2)
    site.app.state.pace.now = Clock()
    here, there = site.visitor("viewer"), site.visitor("viewer")
    for visitor in (here, there):
        assert visitor.post("/account/tokens", {"name": "x", "scope": "look", "days": "1"}).status_code == 200
    page = here.send("/account/tokens", {"name": "x", "scope": "look", "days": "1"}, 429)
    assert "more than 2 changes in a minute" in page


def test_an_address_that_guesses_is_slowed_down_whatever_name_it_tries(open_site: Callable[..., Site]):
    """Five failures lock an account; this is for who tries one password on many names."""
    site = open_site(sites.fill_beds, changes_per_minute_of_address=4)
    site.app.state.pace_of_addresses.now = Clock()
    tries = [site.client.get("/api/v1/alerts", headers=basic(f"name{n}", "x" * 15)) for n in range(5)]
    assert [answer.status_code for answer in tries] == [401] * 4 + [429]
    form = site.client.post("/sign-in", data={"name": "viewer", "password": PASSWORD})
    assert form.status_code == 429
    assert int(form.headers["retry-after"]) == 15
    assert "default-src 'none'" in form.headers["content-security-policy"]
    assert site.client.get("/sign-in").status_code == 200


def test_a_locked_account_says_how_long(open_site: Callable[..., Site]):
    site = open_site(sites.fill_people)
    for _ in range(5):
        site.client.get("/api/v1/alerts", headers=basic("viewer", "x" * 15))
    answer = site.client.get("/api/v1/alerts", headers=basic("viewer"))
    assert answer.status_code == 429
    assert 800 < int(answer.headers["retry-after"]) <= 900
