"""The site chooses which checks it makes before a campaign; each choice has a reason and stays on record."""

from __future__ import annotations

from html import unescape

import pytest
from sqlalchemy import select
from tests.sites import Site

from beadline.features.campaign_reviews import service as reviews
from beadline.features.campaign_reviews.schemas import CHECKS
from beadline.settings import BadSettings, load
from beadline.store.tables import CampaignReview

PAGE = "/campaign-reviews/checks"
PLAN = {"packing": "1", "product": "an enzyme", "cycles": "10", "starts_on": "2026-03-01"}
ALL = {f"check_{name.replace(' ', '_')}": "yes" for name in CHECKS}
WITHOUT_POOL = {field: tick for field, tick in ALL.items() if field != "check_pool"}


def checks_of_newest(site: Site) -> tuple[set[str], list[str]]:
    with site.writing() as session:
        review = session.scalars(select(CampaignReview).order_by(CampaignReview.id.desc())).first()
        assert review is not None
        content = review.content
        return {check["name"] for check in content["checks"]}, content["left_out"]


def test_a_check_that_is_left_out_is_not_made_from_then_on(site: Site):
    engineer = site.visitor("engineer")
    engineer.send("/campaign-reviews", PLAN)
    assert checks_of_newest(site) == (set(CHECKS), [])
    page = unescape(engineer.send(PAGE, WITHOUT_POOL | {"reason": "The pool goes to a bag."}))
    assert "Left out: pool" in page
    assert "The pool goes to a bag." in page
    review = engineer.send("/campaign-reviews", PLAN)
    assert checks_of_newest(site) == (set(CHECKS) - {"pool"}, ["pool"])
    assert "Left out at this site: pool." in review
    assert "Left out at this site" not in engineer.page("/campaign-reviews/1")  # made before
    assert "left out: pool" in unescape(site.visitor("viewer").page("/records"))
    assert "Every check" in engineer.send(PAGE, ALL | {"reason": "The tank is back."})
    engineer.send("/campaign-reviews", PLAN)
    assert checks_of_newest(site) == (set(CHECKS), [])


def test_the_rules_can_be_read(site: Site):
    page = site.visitor("viewer").page(PAGE)
    for rule in reviews.RULES:
        assert f'sentence-case">{rule.check}</th>' in page
        assert f">{rule.decision}</td>" in page
    assert page.count('data-label="it asks for"') == len(reviews.RULES)


@pytest.mark.parametrize(
    ("given", "status", "said"),
    [
        (WITHOUT_POOL | {"reason": " "}, 422, "A reason is missing."),
        ({"reason": "none of them"}, 422, "No check is left."),
        (ALL | {"reason": "again"}, 409, "These checks are made already."),
    ],
)
def test_a_choice_that_says_nothing_is_refused(site: Site, given: dict[str, str], status: int, said: str):
    assert said in unescape(site.visitor("engineer").send(PAGE, given, status))
    assert site.counts()["review_checks"] == 0


def test_only_who_reviews_may_choose(site: Site):
    viewer = site.visitor("viewer")
    page = viewer.page(PAGE)
    assert "Every check is made, as shipped." in page
    assert "Choose these checks" not in page
    viewer.send(PAGE, WITHOUT_POOL | {"reason": "x"}, 403)


def test_the_former_setting_stops_the_start_with_a_word(monkeypatch: pytest.MonkeyPatch):
    """It used to be read from the environment, where a wrong name went unnoticed."""
    monkeypatch.setenv("BEADLINE_CHECKS_LEFT_OUT", "pol")
    with pytest.raises(BadSettings, match="Unknown setting BEADLINE_CHECKS_LEFT_OUT"):
        load()
