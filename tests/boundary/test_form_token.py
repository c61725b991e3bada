"""The token in compressed pages can't be guessed from how long they are, and only a masked one is taken."""

from __future__ import annotations

import re

import pytest
from sqlalchemy import select
from tests.sites import Site
from tests.visitors import Visitor

from beadline.boundary import cookies, form_token
from beadline.store.tables import SignIn

FIELD = re.compile(r'name="csrf_token" value="([^"]+)"')


def tokens(visitor: Visitor, path: str) -> list[str]:
    return FIELD.findall(visitor.page(path))


def test_no_two_pages_carry_the_same_token_and_none_the_secret(site: Site):
    visitor = site.visitor("engineer")
    with site.writing() as session:
        secret = session.scalars(select(SignIn.csrf_token)).one()
    pages = [visitor.page("/account") for _ in range(3)]
    assert len({FIELD.findall(page)[0] for page in pages}) == 3
    for page in pages:
        assert secret not in page
        assert form_token.fits(FIELD.findall(page)[0], secret)


def test_a_page_of_nobody_hides_the_secret_of_the_visit_too(site: Site):
    page = site.client.get("/sign-in").text
    assert site.client.cookies[cookies.VISIT] not in page


def test_the_form_of_an_older_page_still_holds(site: Site):
    visitor = site.visitor("engineer")
    older = tokens(visitor, "/account")[0]
    visitor.page("/account")
    sent = visitor.client.post(
        "/account/sign-out-elsewhere", data={"csrf_token": older}, follow_redirects=False
    )
    assert sent.status_code == 303


@pytest.mark.parametrize("given", ["", "00", "zz", "é", "0" * 63, "the secret itself"])
def test_what_is_no_mask_is_refused(site: Site, given: str):
    visitor = site.visitor("engineer")
    with site.writing() as session:
        secret = session.scalars(select(SignIn.csrf_token)).one()
    token = secret if given == "the secret itself" else given
    sent = visitor.client.post("/account/sign-out-elsewhere", data={"csrf_token": token})
    assert sent.status_code == 403
