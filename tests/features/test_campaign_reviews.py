"""Reviewing a bed before a campaign: what is stored, who decides, and signatures that hold or break."""

from __future__ import annotations

import re
from html import unescape

import pytest
from pypdf import PdfReader
from sqlalchemy import update
from tests import papers, visitors
from tests.builders import HEALTHY, make_cycle_file
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD

from beadline.features.campaign_reviews import queries
from beadline.features.campaign_reviews import service as reviews
from beadline.features.records import service as records
from beadline.kit.errors import Conflict
from beadline.store.tables import CampaignReview, Packing, Signature

PLAN = {"packing": "1", "product": "an enzyme", "cycles": "10", "starts_on": "2026-03-01"}
DECISION = {"decision": "use with conditions", "reason": "Watch the foot.", "password": PASSWORD}


def start(site: Site, **changes: str) -> str:
    return site.visitor("engineer").send("/campaign-reviews", PLAN | changes)


def stored(site: Site) -> CampaignReview:
    with site.writing() as session:
        found = queries.by_id(session, 1)
        assert found is not None
        return found


def test_a_review_says_whether_the_bed_will_last(life: Site):
    page = unescape(start(life))
    review = stored(life)
    assert review.content["plan"]["first_cycle"] == HEALTHY + 1
    assert review.content["plan"]["last_cycle"] == HEALTHY + 10
    assert review.sentence in page
    assert f"Proposed: {review.proposal}" in page
    for check in review.content["checks"]:
        assert check["reason"] in page
    assert [rule[1] for rule in review.content["proposal"]["rules"]]
    assert {one["key"].rpartition("/")[2] for one in review.content["forecasts"]} >= {
        "hetp_moments",
        "asymmetry",
    }


def test_a_bed_without_runs_can_be_reviewed_and_nothing_is_foreseen(site: Site):
    page = start(site)
    assert "can't be foreseen" in unescape(page)
    assert stored(site).content["forecasts"] == []


def test_the_pool_is_held_against_the_tank(life: Site):
    start(life, pool_volume_l="10", pool_tank_l="9")
    pool = next(check for check in stored(life).content["checks"] if check["name"] == "pool")
    assert pool["verdict"] == "stop", pool
    assert "the tank holds 9.00 L" in pool["reason"]


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"cycles": ""}, "cycles"),
        ({"cycles": "0"}, "cycles"),
        ({"cycles": "601"}, "cycles"),
        ({"starts_on": "soon"}, "starts_on"),
        ({"pool_tank_l": "-3"}, "pool_tank_l"),
        ({"product": "x" * 81}, "product"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_beside_its_field(site: Site, changes: dict[str, str], where: str):
    page = site.visitor("engineer").send("/campaign-reviews", PLAN | changes, status=422)
    assert f'id="error-{where}"' in page
    assert site.counts()["campaign_reviews"] == 0


def test_an_unpacked_bed_is_not_reviewed(site: Site):
    with site.writing() as session:
        session.execute(
            update(Packing).where(Packing.id == 1).values(unpacked_at=visitors.HIRED.replace(year=2040))
        )
    assert "unpacked" in site.visitor("engineer").send("/campaign-reviews", PLAN, status=409)


def test_an_engineer_decides_then_quality_approves(site: Site):
    start(site)
    decided = site.visitor("engineer").send("/campaign-reviews/1/decision", DECISION)
    assert "Decided: use with conditions, not yet approved." in unescape(decided)
    approved = site.visitor("quality").send("/campaign-reviews/1/approval", {"password": PASSWORD})
    assert "approved by quality" in approved
    assert approved.count("Holds: nothing was altered since.") == 2
    review = stored(site)
    assert [(s.role, s.meaning) for s in review.signatures] == [
        ("engineer", "reviewed and decided"),
        ("quality", "approved"),
    ]
    with site.writing() as session:
        assert records.verify(session) is None
    said = unescape(site.visitor("viewer").page("/records"))
    assert "Decided on campaign review 1: use with conditions" in said
    assert "Approved campaign review 1" in said


@pytest.mark.parametrize(
    ("changes", "where"), [({"password": "wrong"}, "password"), ({"reason": " "}, "reason")]
)
def test_no_decision_without_password_and_reason(site: Site, changes: dict[str, str], where: str):
    start(site)
    page = site.visitor("engineer").send("/campaign-reviews/1/decision", DECISION | changes, status=422)
    assert f'id="error-{where}"' in page
    assert stored(site).state == "draft"
    assert not stored(site).signatures


def test_a_wrong_password_counts_against_the_account(site: Site):
    start(site)
    engineer = site.visitor("engineer")
    for _ in range(5):
        engineer.send("/campaign-reviews/1/decision", DECISION | {"password": "wrong"}, status=422)
    assert engineer.post("/campaign-reviews/1/decision", DECISION).status_code == 429


def test_quality_cannot_approve_before_a_decision_nor_twice(site: Site):
    start(site)
    quality = site.visitor("quality")
    assert "Nothing is decided yet" in quality.send(
        "/campaign-reviews/1/approval", {"password": PASSWORD}, status=409
    )
    site.visitor("engineer").send("/campaign-reviews/1/decision", DECISION)
    quality.send("/campaign-reviews/1/approval", {"password": PASSWORD})
    quality.send("/campaign-reviews/1/approval", {"password": PASSWORD}, status=409)
    assert len(stored(site).signatures) == 2


def test_the_person_who_decided_cannot_approve(site: Site):
    """Also not with a new role: the second signature is another person's."""
    start(site)
    site.visitor("engineer").send("/campaign-reviews/1/decision", DECISION)
    with site.writing() as session:
        review = reviews.get_to_sign(session, 1)
        engineer = review.made_by
        with pytest.raises(Conflict, match="yourself"):
            reviews.approve(session, review, by=engineer, at=visitors.HIRED)


@pytest.mark.parametrize(
    "changes", [{"sentence": "It will last."}, {"decision": "use"}, {"content": {}}, {"cycles_planned": 11}]
)
def test_an_altered_review_breaks_its_signature(site: Site, changes: dict[str, object]):
    start(site)
    site.visitor("engineer").send("/campaign-reviews/1/decision", DECISION)
    with site.writing() as session:
        if "content" in changes:
            changed = dict(stored(site).content)
            changed["checks"] = changed["checks"][1:]
            changes = {"content": changed}
        session.execute(update(CampaignReview).where(CampaignReview.id == 1).values(**changes))
    page = site.visitor("quality").page("/campaign-reviews/1")
    assert "Broken: The review was altered after it was signed." in page
    refused = site.visitor("quality").send("/campaign-reviews/1/approval", {"password": PASSWORD}, status=409)
    assert "The record changed after it was signed." in refused


def test_an_altered_signature_is_broken_itself(site: Site):
    start(site)
    site.visitor("engineer").send("/campaign-reviews/1/decision", DECISION)
    with site.writing() as session:
        session.execute(update(Signature).values(full_name="Somebody Else"))
    assert "The signature itself was altered." in site.visitor("viewer").page("/campaign-reviews/1")


def test_reviews_are_listed_and_begun_from_the_column(site: Site):
    assert "No review yet" in site.visitor("viewer").page("/campaign-reviews")
    start(site)
    assert "10 cycles of an enzyme" in site.visitor("viewer").page("/campaign-reviews")
    column = site.visitor("engineer").page(f"/columns/{PLOVER.column.asset_tag}")
    link = re.search(r'href="(/campaign-reviews/new\?packing=\d+)"', column)
    assert link
    form = site.visitor("engineer").page(link[1])
    assert re.search(r'<option value="1" selected>Plover', form)
    assert "/campaign-reviews/new" not in site.visitor("viewer").page(f"/columns/{PLOVER.column.asset_tag}")


def test_what_came_is_held_against_what_was_forecast(life: Site):
    start(life)
    assert "What was forecast, and what came" not in life.visitor("viewer").page("/campaign-reviews/1")
    before = stored(life).content
    credentials = visitors.bearer(life.token("operator"))
    for number in range(HEALTHY + 1, HEALTHY + 4):
        assert life.post_run(make_cycle_file(PLOVER, number), credentials=credentials).status_code == 201
    page = life.visitor("viewer").page("/campaign-reviews/1")
    told = page.split("What was forecast, and what came")[1].split("</table>")[0]
    # the bed cracks with the first of these cycles; the forecast, made before, is not touched by it
    assert re.search(rf"(action|alert): cycle {HEALTHY + 1}", told)
    assert stored(life).content == before


def pdf_of(site: Site, query: str = "") -> PdfReader:
    return papers.pdf_of(site, f"/campaign-reviews/1.pdf{query}")


def test_the_report_says_what_the_page_says(life: Site):
    start(life)
    life.visitor("engineer").send("/campaign-reviews/1/decision", DECISION)
    pdf, review = pdf_of(life), stored(life)
    text = papers.text_of(pdf)
    for said in (review.sentence, "use with conditions. Watch the foot.", "Engineer, engineer"):
        assert said in text
    assert text.count(review.signatures[0].content_sha256) == len(pdf.pages) + 1
    assert f"page {len(pdf.pages)} of {len(pdf.pages)}" in text
    for check in review.content["checks"]:
        assert check["reason"] in text
    for one in review.content["forecasts"]:
        assert one["label"] in text


def test_a_review_keeps_the_curve_that_was_there_and_its_report_draws_it(life: Site):
    start(life)
    curve = stored(life).content["curve"]
    assert curve["cycle"] == HEALTHY
    # a normal run's curve lies in the envelope of the baseline's curves, but for noise
    beyond = [max(low - own, own - high) for own, low, high in zip(*own_and_envelope(curve), strict=True)]
    assert max(beyond) < 0.02
    assert f"in cycle {HEALTHY}, as a share of the step" in papers.text_of(pdf_of(life))
    assert 'data-module="curve"' in life.visitor("viewer").page("/campaign-reviews/1")


def own_and_envelope(curve: dict[str, list[float]]) -> list[list[float]]:
    assert curve["low"]
    return [curve[name] for name in ("fraction", "low", "high")]


def test_the_report_says_how_many_cycles_are_left(life: Site):
    start(life)
    content = stored(life).content
    first, second, *rest = content["forecasts"]
    first |= {"left": {"action_high": [12.0, 20.0, None]}, "reached": ""}
    second |= {"left": {"alert_high": [3.0, 5.0, 8.0]}, "reached": ""}
    with life.writing() as session:
        changed = content | {"forecasts": [first, second, *rest]}
        session.execute(update(CampaignReview).values(content=changed))
    text = papers.text_of(pdf_of(life))
    assert "12 or more cycles left" in text
    assert "3 to 8 cycles left" in text


def test_a_review_before_the_first_run_has_no_curve(site: Site):
    start(site)
    assert stored(site).content["curve"] is None
    assert "The present curve" not in papers.text_of(pdf_of(site))


def test_the_report_fits_the_paper_that_is_asked_for(site: Site):
    """ISO 216: A4 is 210 mm x 297 mm; ANSI/ASME Y14.1: letter is 8.5 in x 11 in."""
    start(site)
    for query, width_pt, height_pt in (
        ("", 210 / 25.4 * 72, 297 / 25.4 * 72),
        ("?paper=letter", 612, 792),
    ):
        box = pdf_of(site, query).pages[0].mediabox
        assert (float(box.width), float(box.height)) == pytest.approx((width_pt, height_pt), abs=0.1)
    assert site.visitor("viewer").get("/campaign-reviews/1.pdf?paper=foolscap").status_code == 422


def test_what_people_write_is_no_markup_in_the_report(site: Site):
    written = "#panic[x] $ *y* @z \\ <b> “"
    start(site, product=written)
    site.visitor("engineer").send("/campaign-reviews/1/decision", DECISION | {"reason": written})
    text = papers.text_of(pdf_of(site))
    assert text.count("#panic[x] $ *y* @z \\ <b> “") == 2


def test_what_people_write_is_shown_as_text(site: Site):
    page = start(site, product="<b>x</b> #emph[y]")
    assert "<b>x</b>" not in page
    assert "&lt;b&gt;x&lt;/b&gt;" in page
