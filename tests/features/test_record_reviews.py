"""The audit trail is reviewed and signed; what is altered afterwards breaks the signature."""

from __future__ import annotations

from html import unescape

import pytest
from sqlalchemy import text
from tests.sites import Site
from tests.visitors import PASSWORD

from beadline.features.record_reviews import service as reviews
from beadline.features.records import queries as records

pytestmark = pytest.mark.every_dialect
OPEN_UP = {
    "sqlite": "drop trigger records_no_update",
    "postgresql": "drop trigger records_only_grow on records",
}


def newest(site: Site) -> int:
    with site.writing() as session:
        return records.newest_id(session)


def test_quality_signs_with_the_password_again(site: Site):
    quality = site.visitor("quality")
    last = newest(site)
    page = unescape(quality.page("/records/reviews"))
    assert f"{last} records wait for review" in page
    assert "not your password" in unescape(
        quality.send("/records/reviews", {"upto": str(last), "password": "wrong " + PASSWORD}, 422)
    )
    signed = {"upto": str(last), "note": "Read all, nothing odd.", "password": PASSWORD}
    page = unescape(quality.send("/records/reviews", signed))
    assert f"1 to {last}" in page
    assert "Read all, nothing odd." in page
    assert "holds" in page
    with site.writing() as session:
        review = reviews.every(session)[0]
        assert (review.first, review.last, review.role, review.broken) == (1, last, "quality", "")
        assert reviews.waiting(session)[0] == last + 1


def test_the_next_review_goes_on_where_the_last_one_ended(site: Site):
    quality = site.visitor("quality")
    last = newest(site)
    quality.send("/records/reviews", {"upto": str(last - 1), "password": PASSWORD})
    said = unescape(quality.send("/records/reviews", {"upto": str(last - 1), "password": PASSWORD}, 409))
    assert f"up to {last - 1} are reviewed already" in said
    assert "There is no record 99999" in unescape(
        quality.send("/records/reviews", {"upto": "99999", "password": PASSWORD}, 422)
    )
    page = unescape(quality.send("/records/reviews", {"upto": str(last), "password": PASSWORD}))
    assert f"{last} to {last}" in page


def test_a_record_altered_after_its_review_breaks_the_signature(site: Site):
    quality = site.visitor("quality")
    last = newest(site)
    quality.send("/records/reviews", {"upto": str(last), "password": PASSWORD})
    with site.engine.begin() as connection:
        connection.execute(text(OPEN_UP[site.engine.dialect.name]))
        connection.execute(text(f"update records set said = 'Nothing' where id = {last - 1}"))
    page = unescape(quality.page("/records/reviews"))
    assert "broken" in page
    assert "was altered or taken away since" in page
    said = unescape(quality.send("/records/reviews", {"upto": str(last + 1), "password": PASSWORD}, 409))
    assert f"The chain breaks at record {last - 1}" in said


def test_only_quality_signs_and_everybody_sees(site: Site):
    viewer = site.visitor("viewer")
    assert "Sign the review" not in viewer.page("/records/reviews")
    viewer.send("/records/reviews", {"upto": "1", "password": PASSWORD}, 403)
