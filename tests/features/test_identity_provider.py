"""Signing in through an identity provider that runs on the loopback, over real HTTP and redirects."""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import httpx
import pytest
from joserfc.jwk import RSAKey
from sqlalchemy import select
from tests import providers, sites
from tests.providers import CLIENT_ID, CLIENT_SECRET, Provider
from tests.serving import free_port, on_loopback
from tests.sites import Site
from tests.visitors import PASSWORD, basic

from beadline.boundary import cookies
from beadline.boundary.identity_provider import BACK, TRY_LASTS, IdentityProvider
from beadline.features.record_reviews import service as record_reviews
from beadline.kit import clock
from beadline.kit.errors import SignInNeeded
from beadline.settings import BadSettings, Settings, load
from beadline.store.tables import Record, User


@dataclass
class Place:
    """A site, its provider, and the addresses of both."""

    site: Site
    provider: Provider
    address: str

    def browser(self) -> httpx.Client:
        return httpx.Client(base_url=self.address, follow_redirects=True)

    def until_back(self, browser: httpx.Client, name: str, then: str = "/") -> str:
        """Go to the provider and sign in there; return the address that it leads back to."""
        form = browser.get("/sign-in/provider", params={"then": then})
        assert form.url.path == "/in", form.text
        sent = {"username": name, "password": name + name}
        return browser.post(form.url, data=sent, follow_redirects=False).headers["location"]

    def sign_on(self, browser: httpx.Client, name: str, then: str = "/") -> httpx.Response:
        return browser.get(self.until_back(browser, name, then))

    def user(self, name: str) -> User:
        with self.site.writing() as session:
            found = session.scalars(select(User).where(User.name == name)).one()
            session.expunge(found)
            return found

    def reviews(self) -> int:
        with self.site.writing() as session:
            return len(record_reviews.every(session))

    def said(self) -> list[str]:
        with self.site.writing() as session:
            return list(session.scalars(select(Record.said).order_by(Record.id)))


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    with providers.running() as running:
        running.add("egret", subject="7f2a")
        running.add("stranger", subject="0000")
        yield running


@pytest.fixture
def open_place(open_site: Callable[..., Site], provider: Provider) -> Iterator[Callable[..., Place]]:
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    provider.know(address + BACK)

    def opened(**settings: object) -> Site:
        usual = {
            "oidc_issuer": provider.address,
            "oidc_client_id": CLIENT_ID,
            "oidc_client_secret": CLIENT_SECRET,
        }
        usual |= {"public_url": address, "allowed_hosts": "127.0.0.1,testserver"}
        return open_site(sites.fill_people, **(usual | settings))

    sites_open: list[Place] = []

    def place(**settings: object) -> Place:
        site = opened(**settings)
        known = site.visitor("administrator")
        user_id = next(user.id for user in _users(site) if user.name == "operator")
        form = {"provider_name": "egret", "reason": "SOP 12"}
        assert known.post(f"/people/{user_id}/provider-name", form).status_code == 303
        serving = on_loopback(site.app, port)
        made = Place(site, provider, serving.__enter__())
        closing.append(serving)
        sites_open.append(made)
        return made

    closing: list[object] = []
    yield place
    for serving in closing:
        serving.__exit__(None, None, None)  # type: ignore[attr-defined]


def _users(site: Site) -> list[User]:
    with site.writing() as session:
        found = list(session.scalars(select(User)))
        session.expunge_all()
        return found


@pytest.fixture
def place(open_place: Callable[..., Place]) -> Place:
    return open_place()


@pytest.fixture(autouse=True)
def honest(provider: Provider) -> None:
    """Let each test begin with a provider that keeps its word."""
    provider.spoilt, provider.header, provider.signs_with = {}, {}, provider.key
    provider.people["egret"].subject = "7f2a"
    provider.people["egret"].claims = {"preferred_username": "egret"}


def test_there_and_back_leads_to_the_page_that_was_asked_for(place: Place):
    browser = place.browser()
    assert "Sign in with your organisation&#39;s account" in browser.get("/alerts").text
    page = place.sign_on(browser, "egret", then="/alerts")
    assert (page.status_code, page.url.path) == (200, "/alerts")
    assert "Operator" in page.text
    assert f"operator signed in through {place.provider.address}" in place.said()
    asked = place.provider.asked[-1]
    assert (asked["response_type"], asked["code_challenge_method"]) == ("code", "S256")
    assert (asked["prompt"], asked["max_age"]) == ("login", "0")
    assert len(asked["nonce"]) > 40 and len(asked["state"]) > 40


def test_signing_out_closes_the_pages(place: Place):
    browser = place.browser()
    page = place.sign_on(browser, "egret")
    token = page.text.split('name="csrf_token" value="')[1].split('"')[0]
    assert browser.post("/sign-out", data={"csrf_token": token}).url.path == "/sign-in"
    assert browser.get("/").url.path == "/sign-in"


def test_the_first_sign_on_binds_the_account_for_good(place: Place):
    place.sign_on(place.browser(), "egret")
    bound = place.user("operator")
    assert (bound.provider_issuer, bound.provider_subject) == (place.provider.address, "7f2a")
    assert f"Bound account operator to egret at {place.provider.address}" in place.said()

    place.provider.people["egret"].claims = {"preferred_username": "married"}
    assert place.sign_on(place.browser(), "egret").status_code == 200

    place.provider.people["egret"].subject = "another"
    place.provider.people["egret"].claims = {"preferred_username": "egret"}
    refused = place.sign_on(place.browser(), "egret")
    assert refused.status_code == 403
    assert "belongs to somebody else of this name" in refused.text


def test_nobody_makes_an_account_by_signing_on(place: Place):
    before = place.site.counts()
    refused = place.sign_on(place.browser(), "stranger")
    assert refused.status_code == 403
    assert "stranger is not known here." in refused.text
    assert place.site.counts() == before


def test_who_may_no_longer_sign_in_does_not(place: Place):
    browser = place.browser()
    place.sign_on(browser, "egret")
    user_id = place.user("operator").id
    place.site.visitor("administrator").post(f"/people/{user_id}/rest", {"reason": "left"})
    assert browser.get("/").url.path == "/sign-in"
    refused = place.sign_on(place.browser(), "egret")
    assert refused.status_code == 403
    assert "may no longer sign in" in refused.text


def test_a_name_that_is_given_anew_lets_the_first_person_go(place: Place):
    place.sign_on(place.browser(), "egret")
    user_id = place.user("operator").id
    form = {"provider_name": "stranger", "reason": "new contract"}
    assert (
        place.site.visitor("administrator").post(f"/people/{user_id}/provider-name", form).status_code == 303
    )
    assert place.sign_on(place.browser(), "egret").status_code == 403
    assert place.sign_on(place.browser(), "stranger").status_code == 200
    assert place.user("operator").provider_subject == "0000"


def test_two_accounts_have_no_name_in_common(place: Place):
    user_id = place.user("engineer").id
    form = {"provider_name": "egret", "reason": "why not"}
    refused = place.site.visitor("administrator").post(f"/people/{user_id}/provider-name", form)
    assert refused.status_code == 409
    assert "operator signs on under this name already." in refused.text


def test_a_signature_asks_for_the_beadline_password_whichever_way_one_came_in(place: Place):
    user_id = place.user("quality").id
    form = {"provider_name": "stranger", "reason": "SOP 12"}
    place.site.visitor("administrator").post(f"/people/{user_id}/provider-name", form)
    browser = place.browser()
    page = place.sign_on(browser, "stranger", then="/records/reviews").text
    token = page.split('name="csrf_token" value="')[1].split('"')[0]
    signed = {"upto": "1", "csrf_token": token, "password": "strangerstranger"}
    assert browser.post("/records/reviews", data=signed).status_code == 422
    assert place.reviews() == 0
    assert browser.post("/records/reviews", data=signed | {"password": PASSWORD}).status_code == 200
    assert place.reviews() == 1


NOW = int(time.time())
LIES = {
    "another nonce": ({"nonce": "0" * 64}, {}),
    "no nonce": ({"nonce": providers.NEVER}, {}),
    "another audience": ({"aud": ["another server"], "azp": CLIENT_ID}, {}),
    "for another party": ({"azp": "another server"}, {}),
    "another issuer": ({"iss": "https://id.example.org"}, {}),
    "out of date": ({"exp": NOW - 3600}, {}),
    "no end": ({"exp": providers.NEVER}, {}),
    "not yet valid": ({"nbf": NOW + 3600}, {}),
    "no person": ({"sub": providers.NEVER}, {}),
    "signed in long before": ({"auth_time": NOW - 3600}, {}),
    "signed in at no time": ({"auth_time": providers.NEVER}, {}),
    "not signed": ({}, {"alg": "none"}),
    "a key that is not there": ({}, {"kid": "second"}),
}


@pytest.mark.parametrize("lie", LIES)
def test_a_token_that_does_not_hold_signs_nobody_in(place: Place, lie: str):
    place.provider.spoilt, place.provider.header = LIES[lie]
    before = place.site.counts()
    browser = place.browser()
    refused = place.sign_on(browser, "egret")
    assert refused.status_code == 401
    assert "answer does not hold, so nobody was signed in" in refused.text
    assert cookies.SIGN_IN not in browser.cookies
    assert place.site.counts() == before


def test_a_token_signed_by_somebody_else_signs_nobody_in(place: Place):
    place.provider.signs_with = RSAKey.generate_key(2048, {"kid": "first"})
    assert place.sign_on(place.browser(), "egret").status_code == 401


def test_the_public_key_is_no_shared_secret(place: Place):
    """The old trick: a token under HS256 whose key is the provider's public key."""
    place.provider.header = {"alg": "HS256"}
    assert place.sign_on(place.browser(), "egret").status_code == 401


def test_a_new_key_of_the_provider_is_taken_at_once(place: Place, provider: Provider):
    first = provider.key
    provider.key = provider.signs_with = RSAKey.generate_key(2048, {"kid": "second", "use": "sig"})
    provider.header = {"kid": "second"}
    assert place.sign_on(place.browser(), "egret").status_code == 200
    provider.key = first


def test_an_answer_counts_in_the_browser_that_asked_and_once(place: Place):
    browser, other = place.browser(), place.browser()
    back = place.until_back(browser, "egret")
    kept = browser.cookies[cookies.SIGN_ON]
    assert "No sign-on was begun in this browser." in other.get(back).text

    place.until_back(other, "egret")
    assert "does not belong to what was asked" in other.get(back).text  # another state

    assert browser.get(back).url.path == "/"
    browser.cookies.delete(cookies.SIGN_IN)
    assert "No sign-on was begun in this browser." in browser.get(back).text
    browser.cookies.set(cookies.SIGN_ON, kept, domain="127.0.0.1", path="/")
    assert "answer does not hold" in browser.get(back).text  # the provider knows that the code was used


def test_a_code_that_was_caught_elsewhere_is_worth_nothing(place: Place):
    """Whoever puts a stranger's code into an answer of their own lacks its verifier."""
    caught = parse_qs(urlsplit(place.until_back(place.browser(), "egret")).query)["code"][0]
    browser = place.browser()
    own = place.until_back(browser, "stranger")
    mine = parse_qs(urlsplit(own).query)["code"][0]
    assert "answer does not hold" in browser.get(own.replace(mine, caught)).text


def test_what_the_provider_refuses_is_said_without_its_words(place: Place):
    browser = place.browser()
    form = browser.get("/sign-in/provider")
    refused = browser.post(form.url, data={"username": "egret", "password": "wrong"})
    assert refused.status_code == 401
    assert "The sign-on service let nobody in." in refused.text
    state = place.provider.asked[-1]["state"]
    browser.get("/sign-in/provider")
    lured = browser.get(BACK, params={"error": "x", "error_description": "Call 555", "state": state})
    assert "Call 555" not in lured.text


def test_a_cookie_that_was_changed_or_is_old_is_not_taken(place: Place):
    provider = IdentityProvider(place.site.settings)
    asked = provider.ask("/", at=clock.now())
    state = parse_qs(urlsplit(asked.address).query)["state"][0]
    head, body, signature = asked.cookie.split(".")
    for cookie in (f"{head}.{body}x.{signature}", f"{head}.{body}.", "", "a.b.c"):
        with pytest.raises(SignInNeeded, match="No sign-on was begun"):
            provider.told({"state": state, "code": "1"}, cookie, at=clock.now())
    late = clock.now() + TRY_LASTS + timedelta(seconds=2)
    with pytest.raises(SignInNeeded, match="took too long"):
        provider.told({"state": state, "code": "1"}, asked.cookie, at=late)


def test_nobody_is_sent_to_another_site_after_signing_on(place: Place):
    page = place.sign_on(place.browser(), "egret", then="https://heron.example/")
    assert str(page.url) == place.address + "/"


def test_an_address_counts_only_once_the_provider_has_verified_it(open_place: Callable[..., Place]):
    place = open_place(oidc_claim="email")
    claims = place.provider.people["egret"].claims
    claims |= {"email": "egret", "email_verified": False}
    assert "You are not known here." in place.sign_on(place.browser(), "egret").text
    claims["email_verified"] = True
    assert place.sign_on(place.browser(), "egret").status_code == 200


def test_a_provider_that_is_gone_is_said_and_passwords_still_work(open_place: Callable[..., Place]):
    place = open_place(oidc_issuer=f"http://127.0.0.1:{free_port()}")
    refused = place.browser().get("/sign-in/provider")
    assert refused.status_code == 502
    assert "does not answer as it should" in refused.text
    assert 'name="password"' in refused.text


def test_a_provider_that_calls_itself_otherwise_is_not_asked(open_place: Callable[..., Place]):
    place = open_place()
    alias = place.provider.address.replace("127.0.0.1", "localhost")
    settings = place.site.settings.model_copy(update={"oidc_issuer": alias})
    with pytest.raises(Exception, match="does not answer as it should"):
        IdentityProvider(settings).ask("/", at=clock.now())


def test_a_site_can_let_people_in_through_the_provider_alone(open_place: Callable[..., Place]):
    place = open_place(oidc_only=True)
    form = {"name": "operator", "password": PASSWORD}
    refused = place.site.visitor("viewer").post("/sign-in", form)
    assert refused.status_code == 403
    assert "Your password signs here, but does not sign you in." in refused.text
    assert place.site.client.get("/api/v1/alerts", headers=basic("operator")).status_code == 403
    assert place.site.client.get("/api/v1/alerts", headers=basic("engineer")).status_code == 200
    assert place.sign_on(place.browser(), "egret").status_code == 200


def test_a_site_without_provider_shows_nothing_of_it(site: Site):
    assert "/sign-in/provider" not in site.client.get("/sign-in").text
    assert site.client.get("/sign-in/provider").status_code == 404
    assert "At the provider" not in site.visitor("administrator").page("/people")


def test_no_secret_or_code_gets_into_the_log(place: Place, caplog: pytest.LogCaptureFixture):
    caplog.set_level(logging.DEBUG)
    place.provider.spoilt = {"nonce": "0" * 64}
    back = place.until_back(place.browser(), "egret")
    browser = place.browser()
    refused = place.sign_on(browser, "egret")
    assert refused.status_code == 401
    ours = [record.getMessage() for record in caplog.records if record.name.startswith("beadline")]
    assert any("does not hold" in text for text in ours)
    code = parse_qs(urlsplit(back).query)["code"][0]
    for text in ours:
        assert CLIENT_SECRET not in text and code not in text and "eyJ" not in text


def test_a_provider_is_asked_over_tls_only_and_needs_its_secret(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
):
    usual = {"oidc_client_id": "beadline"}
    with pytest.raises(BadSettings, match="https://"):
        load(oidc_issuer="http://id.example.org", oidc_client_secret="x", **usual)
    with pytest.raises(BadSettings, match="BEADLINE_OIDC_CLIENT_SECRET"):
        load(oidc_issuer="https://id.example.org", **usual)
    with pytest.raises(BadSettings, match="can't be read"):
        load(oidc_issuer="https://id.example.org", oidc_client_secret_file=str(tmp_path / "none"), **usual)
    secret = tmp_path / "secret"
    secret.write_text("kept in a file\n")
    monkeypatch.setenv("BEADLINE_OIDC_CLIENT_SECRET_FILE", str(secret))
    monkeypatch.setenv("BEADLINE_OIDC_ISSUER", "https://id.example.org")
    loaded: Settings = load(**usual)
    assert loaded.oidc_secret == "kept in a file"
    assert "kept in a file" not in repr(loaded)
