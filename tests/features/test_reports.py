"""A pulse test, an alert and the life of a packing on paper."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

import pytest
from sqlalchemy import select, update
from tests import papers, sites
from tests.builders import HEALTHY, make_pulse_file
from tests.sites import PLOVER, Site

from beadline.store.tables import Alert, Cycle, PulseTest

TEST = {"packing": "1", "performed_at": "2025-01-06T12:00", "injection_ml": "16", "tracer": "salt"}
DOCUMENTS = ("/pulse-tests/1.pdf", "/alerts/1.pdf", "/packings/1.pdf")


def log_test(site: Site, **changed: str) -> None:
    file = make_pulse_file(PLOVER)
    sent = (file.filename, file.content)
    site.visitor("engineer").send("/pulse-tests", TEST | changed, file=sent)


@pytest.fixture
def cracked(open_site: Callable[..., Site]) -> Site:
    """Plover with a pulse test, its healthy life, and the alert of the crack."""
    site = open_site(sites.fill_cracked_life)
    log_test(site)
    return site


def said_of(site: Site, path: str) -> str:
    return papers.text_of(papers.pdf_of(site, path))


def test_a_test_that_passed_is_a_certificate_with_its_criteria_and_hashes(site: Site):
    log_test(site)
    pdf = papers.pdf_of(site, "/pulse-tests/1.pdf")
    text = papers.text_of(pdf)
    for said in (
        "Qualification certificate",
        "The bed passes.",
        f"Plover ({PLOVER.column.asset_tag})",
        "10.0 cm × 20.0 cm, 1.57 L",  # pi/4 (10 cm)^2 20 cm, by hand
        "salt",
        "16.0 mL",
        "Reduced plate height",
        "Asymmetry at 10 %",
        hashlib.sha256(make_pulse_file(PLOVER).content).hexdigest(),
        "Logged a pulse test of Plover, packing 1: pass",
        f"page {len(pdf.pages)} of {len(pdf.pages)}",
        "qualified people decide",
    ):
        assert said in text, said
    assert len(papers.hashes_of(pdf)) == 1


def test_a_voided_test_is_no_certificate(site: Site):
    log_test(site)
    site.visitor("engineer").send("/pulse-tests/1/void", {"reason": "The probe was dry."})
    text = said_of(site, "/pulse-tests/1.pdf")
    assert "Qualification certificate" not in text
    assert "Voided; this test counts for nothing." in text
    assert "The probe was dry." in text


def test_a_test_that_failed_is_no_certificate(site: Site):
    log_test(site)
    with site.writing() as session:
        session.execute(update(PulseTest).values(verdict="fail"))
    text = said_of(site, "/pulse-tests/1.pdf")
    assert "Qualification certificate" not in text
    assert "The bed does not pass." in text


def test_an_alerts_report_tells_evidence_causes_and_what_was_done(cracked: Site):
    cracked.visitor("operator").send(
        "/alerts/1", {"step": "acknowledge", "comment": "Stopped #panic[the train] $x$"}
    )
    text = said_of(cracked, "/alerts/1.pdf")
    with cracked.writing() as session:
        alert = session.scalars(select(Alert)).one()
        assert alert.headline in text
        assert f"about cycle {alert.since_cycle}" in text
        assert alert.causes[0]["check"] in text
    assert "Stopped #panic[the train] $x$" in text  # what people write is no markup
    assert "acknowledged" in text
    assert "Nobody: no route wanted to hear of it." in text
    assert "Candidate causes are no diagnosis." in text


def test_the_life_of_a_retired_packing_tells_all_of_it(cracked: Site):
    cracked.visitor("engineer").send("/packings/1/unpack", {"reason": "The bed has cracked."})
    pdf = papers.pdf_of(cracked, "/packings/1.pdf")
    text = papers.text_of(pdf)
    assert f"after {HEALTHY + 5} cycles." in text
    assert "Reason: The bed has cracked." in text
    assert f"{HEALTHY + 5} of 150 allowed" in text
    assert "1, 1 passed" in text
    with cracked.writing() as session:
        for cycle in session.scalars(select(Cycle)):
            assert cycle.batch in text
        assert session.scalars(select(Alert)).one().headline in text
    assert "past action limit" in text
    assert len(papers.hashes_of(pdf)) == 1


def test_a_packing_in_use_without_runs_or_tests_has_a_short_life(site: Site):
    text = said_of(site, "/packings/1.pdf")
    assert "Life of a packing, until now" in text
    assert "No run has been logged." in text
    assert "never qualified here" in text


@pytest.mark.parametrize("path", DOCUMENTS)
def test_two_prints_bear_one_hash_whatever_the_paper(cracked: Site, path: str):
    """ISO 216: A4 is 210 mm x 297 mm; ANSI/ASME Y14.1: letter is 8.5 in x 11 in."""
    a4, letter = papers.pdf_of(cracked, path), papers.pdf_of(cracked, f"{path}?paper=letter")
    assert papers.hashes_of(a4) == papers.hashes_of(letter)
    for pdf, size_pt in ((a4, (210 / 25.4 * 72, 297 / 25.4 * 72)), (letter, (612.0, 792.0))):
        box = pdf.pages[0].mediabox
        assert (float(box.width), float(box.height)) == pytest.approx(size_pt, abs=0.1)


def test_a_print_of_altered_results_bears_another_hash(site: Site):
    log_test(site)
    before = papers.hashes_of(papers.pdf_of(site, "/pulse-tests/1.pdf"))
    with site.writing() as session:
        test = session.scalars(select(PulseTest)).one()
        test.estimates = test.estimates | {"asymmetry": [1.0, 0.01]}
    assert papers.hashes_of(papers.pdf_of(site, "/pulse-tests/1.pdf")).isdisjoint(before)


@pytest.mark.parametrize("path", DOCUMENTS)
def test_what_is_not_there_is_not_printed(site: Site, path: str):
    assert site.visitor("viewer").get(path).status_code == (200 if "packings" in path else 404)
    assert site.visitor("viewer").get(path.replace("1.pdf", "99.pdf")).status_code == 404
    assert site.visitor("viewer").get(f"{path}?paper=foolscap").status_code == 422


def test_the_pages_link_to_what_can_be_printed(cracked: Site):
    for path in DOCUMENTS:
        page = cracked.visitor("viewer").page(path.removesuffix(".pdf"))
        assert f'href="{path}"' in page
        assert f'href="{path}?paper=letter"' in page
