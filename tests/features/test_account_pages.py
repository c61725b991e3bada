"""One's own account and the people of the site, as they are used in a browser and by programs."""

from __future__ import annotations

import re

import pytest
from fastapi.testclient import TestClient
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD, Visitor, basic, bearer

from beadline.features.accounts.service import passwords
from beadline.kit.errors import Invalid

FILE = builders.make_cycle_file(PLOVER, 1)
CHOSEN = "nine dunlins on a sandbank"


def secret_of(page: str) -> str:
    found = re.search(r'class="mono secret">([^<]+)<', page)
    assert found
    return found[1]


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("short one", "too short"),
        ("x" * 300, "too long"),
        ("aaaaaaaaaaaaaaaaaaaa", "easy to guess"),
        ("passwordpassword123456", "easy to guess"),
        ("operator-operator-operator", "easy to guess"),
    ],
)
def test_a_password_that_is_guessed_early_is_refused(password: str, why: str):
    """NIST SP 800-63B-4, 3.1.1.2: at least 15 characters where it is the only proof, and a blocklist."""
    with pytest.raises(Invalid, match=why):
        passwords.check_choice(password, name="operator")


def test_a_password_needs_no_kinds_of_characters():
    """The same section: no rules of composition, and at least 64 characters are taken."""
    passwords.check_choice("the tide comes and goes", name="ines")
    passwords.check_choice("wader " * 11, name="ines")


def test_changing_the_password_signs_out_every_other_browser(site: Site):
    here, there = site.visitor("operator"), site.visitor("operator")
    form = {"present": PASSWORD, "chosen": CHOSEN}
    assert "The password is changed" in here.send("/account/password", form)
    assert there.get("/").status_code == 303
    assert here.get("/").status_code == 200
    assert site.post_run(FILE, credentials=basic("operator")).status_code == 401
    assert site.post_run(FILE, credentials=basic("operator", CHOSEN)).status_code == 201


def test_a_wrong_present_password_changes_nothing(site: Site):
    visitor, before = site.visitor("operator"), site.counts()
    page = visitor.send("/account/password", {"present": "wrong" * 4, "chosen": CHOSEN}, 422)
    assert "not your present password" in page
    assert site.counts() == before


def test_a_token_is_shown_once_and_does_no_more_than_its_scope(site: Site):
    visitor = site.visitor("operator")
    page = visitor.send("/account/tokens", {"name": "skid 7", "scope": "look", "days": "30"}, 200)
    token = secret_of(page)
    assert token not in visitor.page("/account")
    assert site.client.get("/api/v1/alerts", headers=bearer(token)).status_code == 200
    refused = site.post_run(FILE, credentials=bearer(token))
    assert (refused.status_code, refused.json()["code"]) == (403, "forbidden")
    page = visitor.send("/account/tokens", {"name": "skid 8", "scope": "log runs", "days": "30"}, 200)
    assert site.post_run(FILE, credentials=bearer(secret_of(page))).status_code == 201


def test_a_token_never_does_more_than_its_owner(site: Site):
    page = site.visitor("viewer").send("/account/tokens", {"name": "all", "scope": "all", "days": "1"}, 200)
    assert site.post_run(FILE, credentials=bearer(secret_of(page))).status_code == 403


def test_a_revoked_token_opens_nothing_and_only_its_owner_revokes_it(site: Site):
    visitor = site.visitor("operator")
    page = visitor.send("/account/tokens", {"name": "skid", "scope": "all", "days": "30"}, 200)
    token, number = secret_of(page), re.search(r"/account/tokens/(\d+)/revoke", page)
    assert number
    assert "no such token" in site.visitor("engineer").send(f"/account/tokens/{number[1]}/revoke", {}, 404)
    assert site.client.get("/api/v1/alerts", headers=bearer(token)).status_code == 200
    visitor.send(f"/account/tokens/{number[1]}/revoke", {})
    assert site.client.get("/api/v1/alerts", headers=bearer(token)).status_code == 401


def test_signing_out_elsewhere_leaves_this_browser_signed_in(site: Site):
    here, there = site.visitor("viewer"), site.visitor("viewer")
    here.send("/account/sign-out-elsewhere", {})
    assert (here.get("/").status_code, there.get("/").status_code) == (200, 303)


def test_a_new_person_chooses_a_password_before_anything_else(site: Site):
    form = {"name": "tilda", "full_name": "Tilda Strand", "role": "operator"}
    given = secret_of(site.visitor("administrator").send("/people", form, 200))
    tilda = Visitor(TestClient(site.app))
    answer = tilda.post("/sign-in", {"name": "tilda", "password": given}, token_from="/sign-in")
    assert answer.headers["location"] == "/account"
    assert "temporary" in tilda.page("/log-a-run", 403)
    assert site.post_run(FILE, credentials=basic("tilda", given)).status_code == 403
    form = {"present": given, "chosen": CHOSEN}
    assert tilda.post("/account/password", form, token_from="/account").status_code == 303
    assert tilda.get("/log-a-run").status_code == 200


def id_of(page: str, name: str) -> str:
    found = re.search(rf"Change {name}<.*?/people/(\d+)/role", page, flags=re.DOTALL)
    assert found
    return found[1]


def test_a_role_is_changed_with_a_reason_and_recorded(site: Site):
    ada = site.visitor("administrator")
    number = id_of(ada.page("/people"), "viewer")
    viewer = site.visitor("viewer")
    assert viewer.get("/log-a-run").status_code == 403
    assert "reason is missing" in ada.send(f"/people/{number}/role", {"role": "operator", "reason": " "}, 422)
    assert viewer.get("/log-a-run").status_code == 403
    ada.send(f"/people/{number}/role", {"role": "operator", "reason": "trained on 3 March"})
    assert viewer.get("/log-a-run").status_code == 200
    records = viewer.page("/records")
    assert "Changed the role of viewer from viewer to operator" in records
    assert "trained on 3 March" in records


def test_somebody_who_left_is_signed_out_at_once(site: Site):
    ada, operator = site.visitor("administrator"), site.visitor("operator")
    token = site.token("operator")
    number = id_of(ada.page("/people"), "operator")
    page = ada.send(f"/people/{number}/rest", {"again": "", "reason": "left the site"})
    assert "may not sign in" in page
    assert operator.get("/").status_code == 303
    assert site.post_run(FILE, credentials=bearer(token)).status_code == 401
    ada.send(f"/people/{number}/rest", {"again": "yes", "reason": "came back"})
    assert site.post_run(FILE, credentials=bearer(token)).status_code == 201


def test_the_last_administrator_stays_one(site: Site):
    ada = site.visitor("administrator")
    number = id_of(ada.page("/people"), "administrator")
    for path, form in (("role", {"role": "viewer"}), ("rest", {"again": ""})):
        assert "last administrator" in ada.send(f"/people/{number}/{path}", {**form, "reason": "x"}, 409)
    assert "may not sign in" not in ada.page("/people")


def test_a_temporary_password_ends_what_the_old_one_opened(site: Site):
    ada, operator = site.visitor("administrator"), site.visitor("operator")
    number = id_of(ada.page("/people"), "operator")
    given = secret_of(ada.send(f"/people/{number}/password", {"reason": "forgot it"}, 200))
    assert operator.get("/").status_code == 303
    assert site.post_run(FILE, credentials=basic("operator")).status_code == 401
    assert given not in ada.page("/people")


def test_one_sees_where_one_is_signed_in(site: Site):
    first, _second = site.visitor("viewer"), site.visitor("viewer")
    site.visitor("engineer")
    page = first.page("/account")
    assert (page.count(">this one<"), page.count(">another<")) == (1, 1)
    first.post("/account/sign-out-elsewhere", {})
    assert ">another<" not in first.page("/account")
