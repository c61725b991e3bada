"""Who may do what: every role against every route, and no form that another site could send."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

import pytest
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests import sites
from tests.architecture.routes import Way, every_way
from tests.sites import Site
from tests.visitors import Visitor, bearer

from beadline.features.accounts.schemas import MAY, ROLES, who_may

OPEN = {
    "GET /sign-in",
    "POST /sign-in",
    "GET /sign-in/provider",
    "GET /sign-in/provider/back",
    "POST /sign-out",
    "GET /static/{name:path}",
    "GET /health",
    "GET /ready",
}
WAYS = every_way()
GUARDED = [way for way in WAYS if str(way) not in OPEN]
ALL_DEEDS = frozenset().union(*MAY.values())


@cache
def address(path: str) -> str:
    """An address of that route, of a thing that does not exist."""
    return re.sub(
        r"\{(\w+)(:\w+)?\}", lambda found: "99" if found[1].endswith(("id", "number")) else "none", path
    )


def ask(visitor: Visitor, way: Way) -> int:
    if way.method == "GET":
        return visitor.get(address(way.path)).status_code
    return visitor.post(address(way.path), {}).status_code


def test_there_is_something_to_check():
    assert len(GUARDED) > 25
    assert {way.method for way in WAYS} == {"GET", "POST"}


def test_every_route_but_signing_in_asks_for_one_deed_that_a_role_can_have():
    for way in WAYS:
        assert len(way.deeds) == (0 if str(way) in OPEN else 1), way
        assert way.deeds <= ALL_DEEDS, way


def test_every_form_is_checked_to_be_ours():
    """Programs are let in by credentials that no browser sends by itself, so they carry no form token."""
    for way in WAYS:
        if way.method != "GET":
            assert way.checks_form != way.path.startswith("/api/"), way


def test_nothing_is_changed_by_looking():
    """What may only be done by some is no GET, save for the forms that lead to it."""
    forms = {
        way.path
        for way in WAYS
        if way.method == "GET" and way.deeds not in ({"look"}, {"see what is due"}, set())
    }
    assert all(path.endswith("/new") or path == "/log-a-run" for path in forms)


@pytest.mark.parametrize("way", GUARDED, ids=str)
def test_nobody_gets_in_without_signing_in(site: Site, way: Way):
    answer = site.client.request(way.method, address(way.path), follow_redirects=False)
    if way.path.startswith("/api/"):
        assert answer.status_code == 401
    elif way.method == "GET":
        assert (answer.status_code, answer.headers["location"].split("?")[0][-8:]) == (303, "/sign-in")
    else:
        assert answer.status_code == 403


@pytest.mark.parametrize("role", ROLES)
def test_every_role_gets_where_it_may_and_nowhere_else(site: Site, role: str):
    visitor = site.visitor(role)
    before = site.counts()
    for way in GUARDED:
        if way.path.startswith("/api/"):
            continue
        status = ask(visitor, way)
        assert status < 500, way
        assert (status == 403) == (not way.deeds <= MAY[role]), f"{role}: {way} said {status}"
    assert site.counts() == before


@pytest.mark.parametrize("role", ROLES)
def test_every_role_gets_where_it_may_through_the_api(site: Site, role: str):
    credentials = bearer(site.token(role))
    for way in GUARDED:
        if way.path.startswith("/api/"):
            status = site.client.request(way.method, address(way.path), headers=credentials).status_code
            assert (status == 403) == (not way.deeds <= MAY[role]), f"{role}: {way} said {status}"
            assert status not in (401, 500)


NUMBERS = st.sampled_from(["1", "2", "0", "-1", "99999999999999999999", "1.5", "x", "%00", "..", "Plover"])
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE", "HEAD", "OPTIONS")


@pytest.mark.parametrize("role", [*ROLES, "nobody"])
def test_whatever_a_role_may_not_do_it_can_not_do_to_anything_that_is_there(
    open_site: Callable[..., Site], role: str
):
    """Every forbidden way, by other methods too, at things that exist and at addresses that make no sense."""
    site = open_site(sites.fill_cracked_life)
    client = TestClient(site.app) if role == "nobody" else site.visitor(role).client
    may = MAY.get(role, frozenset())
    refused = [way for way in GUARDED if not way.deeds <= may]
    assert refused
    before = site.counts()

    @settings(
        max_examples=120,
        derandomize=True,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow],
    )
    @given(way=st.sampled_from(refused), method=st.sampled_from(METHODS), data=st.data())
    def tried(way: Way, method: str, data: st.DataObject) -> None:
        path = re.sub(r"\{\w+(:\w+)?\}", lambda _: data.draw(NUMBERS), way.path)
        form = {name: data.draw(NUMBERS) for name in ("reason", "packing", "role", "file", "password")}
        answer = client.request(method, path, data=form, follow_redirects=False)
        if method == way.method and ".." not in path:  # which leads to another way
            assert answer.status_code in (303, 401, 403, 404), f"{way} said {answer.status_code}"
            assert answer.status_code != 303 or "/sign-in" in answer.headers["location"]
        assert answer.status_code < 500 and (answer.status_code >= 300 or method in ("GET", "HEAD"))

    tried()
    assert site.counts() == before


def test_the_table_that_people_read_is_the_one_that_is_enforced(site: Site):
    page = site.visitor("viewer").page("/people")
    for deed, allowed in who_may():
        row = next(row for row in re.findall(r"<tr>(.*?)</tr>", page, re.DOTALL) if f">{deed}<" in row)
        cells = re.findall(r"<td[^>]*>(.*?)</td>", row, re.DOTALL)
        assert ["yes" in cell.lower() or "✓" in cell for cell in cells] == list(allowed), deed


def test_a_browsers_cookie_changes_nothing_through_the_api(site: Site):
    """A cookie goes along with what other sites send; credentials do not."""
    operator = site.visitor("operator")
    assert operator.get("/api/v1/alerts").status_code == 200
    sent = operator.client.post("/api/v1/runs", data={"column": "Plover"}, files={"file": ("a.csv", b"1")})
    assert sent.status_code == 401
