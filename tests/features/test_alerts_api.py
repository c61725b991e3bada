"""What programs can do with an alert is what its page can do."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from httpx import Response
from tests import sites
from tests.sites import Site
from tests.visitors import bearer

PNG = b"\x89PNG\r\n\x1a\n" + bytes(64)


@pytest.fixture
def raised(open_site: Callable[..., Site]) -> Site:
    """A site whose one alert, of Plover, has reached the action level."""
    return open_site(sites.fill_cracked_life)


def address_of(site: Site) -> str:
    """Return where the one alert is for programs."""
    headers = bearer(site.token("viewer"))
    (alert,) = site.client.get("/api/v1/alerts", headers=headers).json()
    return f"/api/v1/alerts/{alert['id']}"


def post(site: Site, path: str, content: dict[str, object], role: str = "operator") -> Response:
    return site.client.post(address_of(site) + path, json=content, headers=bearer(site.token(role)))


def test_an_alert_is_acknowledged_commented_and_closed(raised: Site):
    assert post(raised, "/close", {"comment": "Repacked."}).status_code == 409  # nobody has seen it yet
    steps = [("acknowledge", "Seen."), ("comment", "The bed shows a gap."), ("close", "Repacked.")]
    address = address_of(raised)
    headers = bearer(raised.token("operator"))
    for step, said in steps:
        answer = raised.client.post(f"{address}/{step}", json={"comment": said}, headers=headers)
        assert answer.status_code == 200, answer.text
    whole = raised.client.get(address, headers=headers).json()
    assert whole["status"] == "closed"
    assert [one["comment"] for one in whole["events"][-3:]] == [said for _, said in steps]


def test_an_alert_is_shelved_for_some_days(raised: Site):
    answer = post(raised, "/shelve", {"comment": "Campaign ends on Friday.", "days": 3})
    assert answer.json()["status"] == "shelved"
    assert answer.json()["shelved_until"]
    assert post(raised, "/shelve", {"comment": "Longer.", "days": 31}).status_code == 422


def test_an_alert_is_given_to_who_may_handle_it(raised: Site):
    assert post(raised, "/holder", {"name": "engineer"}).json()["assigned_to"] == "engineer"
    assert post(raised, "/holder", {"name": None}).json()["assigned_to"] is None
    for name in ("viewer", "nobody of this name"):
        refused = post(raised, "/holder", {"name": name})
        assert refused.status_code == 422
        assert refused.json()["mend"]


def test_a_picture_is_kept_as_it_came(raised: Site):
    headers = bearer(raised.token("operator"))
    sent = {"picture": ("gap.png", PNG)}
    answer = raised.client.post(f"{address_of(raised)}/pictures", files=sent, headers=headers)
    assert answer.status_code == 201, answer.text
    (picture,) = answer.json()["pictures"]
    assert picture["filename"] == "gap.png"
    assert raised.client.get(picture["address"], headers=headers).content == PNG


@pytest.mark.parametrize("step", ["acknowledge", "comment", "shelve", "close", "holder"])
def test_who_only_looks_changes_nothing(raised: Site, step: str):
    address, headers = address_of(raised), bearer(raised.token("viewer"))
    before = raised.counts()
    content = {"comment": "x", "days": 1, "name": None}
    answer = raised.client.post(f"{address}/{step}", json=content, headers=headers)
    assert answer.status_code == 403
    assert raised.counts() == before
