"""Signing in over HTTP: forms, cookies, Basic credentials and tokens."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from fastapi.testclient import TestClient
from tests import builders, sites
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD, Visitor, basic, bearer

from beadline.boundary import cookies

FILE = builders.make_cycle_file(PLOVER, 1)


def test_who_is_not_signed_in_is_led_to_the_form_and_back(site: Site):
    answer = site.client.get("/alerts?status=all", follow_redirects=False)
    assert answer.status_code == 303
    form = site.client.get(answer.headers["location"])
    assert 'value="/alerts?status=all"' in form.text.replace("&#34;", '"')


def test_a_signed_in_browser_sees_the_columns_until_it_signs_out(site: Site):
    visitor = Visitor(site.client)
    form = {"name": "viewer", "password": PASSWORD}
    assert visitor.post("/sign-in", form, token_from="/sign-in").headers["location"] == "/"
    assert "Plover" in visitor.get("/").text
    assert visitor.post("/sign-out", {}).status_code == 303
    assert visitor.get("/").status_code == 303


def test_the_cookie_is_out_of_reach_for_scripts_and_other_sites(open_site: Callable[..., Site]):
    site = open_site(sites.fill_people, secure_cookies=True)
    client = TestClient(site.app, base_url="https://testserver")
    form = {"name": "viewer", "password": PASSWORD}
    set_cookie = Visitor(client).post("/sign-in", form, token_from="/sign-in").headers["set-cookie"]
    assert set_cookie.startswith(f"__Host-{cookies.SIGN_IN}=")  # from no other host, not even a sister's
    assert {"HttpOnly", "Secure", "SameSite=Lax", "Path=/"} <= set(set_cookie.split("; "))
    assert "Domain" not in set_cookie
    assert "Viewer" in client.get("/account").text
    out = Visitor(client).post("/sign-out", {}).headers["set-cookie"]
    assert {"Secure", "Path=/", "Max-Age=0"} <= set(out.split("; "))  # else browsers keep it
    assert client.get("/account", follow_redirects=False).status_code == 303


def test_a_wrong_password_says_so_without_telling_which_part_is_wrong(site: Site):
    visitor = site.visitor("viewer")
    texts = []
    for name in ("viewer", "nobody"):
        answer = visitor.post("/sign-in", {"name": name, "password": "wrong" * 3})
        assert answer.status_code == 401
        assert "Name and password do not fit." in answer.text
        texts.append(answer.text.replace(name, ""))
    assert len(texts[0]) == len(texts[1])


def test_failures_are_counted_though_the_request_fails(site: Site):
    for _ in range(5):
        assert site.post_run(FILE, credentials=basic("operator", "wrong" * 3)).status_code == 401
    answer = site.post_run(FILE, credentials=basic("operator"))
    assert answer.status_code == 429
    assert answer.json()["code"] == "too-many"
    assert site.counts()["cycles"] == 0


def test_a_form_that_another_site_made_is_refused(site: Site):
    visitor = site.visitor("operator")
    before = site.counts()
    forged = visitor.client.post("/log-a-run", data={"packing": "1"}, files={"file": ("a.csv", FILE.content)})
    assert forged.status_code == 403
    assert "not made by this server" in forged.text
    assert site.counts() == before


def test_nobody_is_sent_to_another_site_after_signing_in(site: Site):
    for then in ("//heron.example/", "https://heron.example/", "/\\heron.example"):
        form = {"name": "viewer", "password": PASSWORD, "then": then}
        assert site.visitor("viewer").post("/sign-in", form).headers["location"] == "/"


def test_the_api_takes_basic_credentials_and_tokens(site: Site):
    by_password = site.post_run(FILE, credentials=basic("engineer"))
    assert by_password.json()["logged_by"] == "engineer"
    by_token = site.post_run(builders.make_cycle_file(PLOVER, 2), credentials=bearer(site.token("operator")))
    assert by_token.json()["logged_by"] == "operator"


@pytest.mark.parametrize(
    "header",
    [
        "",
        "Basic",
        "Basic !!",
        "Basic b3BlcmF0b3I=",  # a name without password
        "Basic AA==",  # a NUL character
        "Bearer",
        "Bearer bl_unknown",
        "Digest username=operator",
    ],
)
def test_credentials_that_are_none_are_refused_and_store_nothing(site: Site, header: str):
    before = site.counts()
    answer = site.post_run(FILE, credentials={"Authorization": header} if header else {})
    assert answer.status_code in (401, 422)
    assert answer.json()["title"]
    assert answer.status_code != 401 or "Basic" in answer.headers["www-authenticate"]
    assert site.counts() == before


def test_credentials_of_programs_do_not_open_pages(site: Site):
    answer = site.client.get("/", headers=basic("engineer"), follow_redirects=False)
    assert answer.status_code == 303
