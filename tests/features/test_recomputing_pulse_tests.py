"""Stored pulse tests analysed again: the new result beside the old one, with a report, nothing doubled."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from sqlalchemy import text
from tests import builders
from tests.features.test_recomputations import REASON, means_of, recompute, rows_of
from tests.sites import PLOVER, Site

from beadline.features.recomputations import jobs
from beadline.features.recomputations.schemas import BedReport
from beadline.science import pulse as science
from beadline.store.tables import EarlierPulseResult, PulseTest, Record

pytestmark = pytest.mark.every_dialect


@pytest.fixture
def tested(site: Site) -> Site:
    """A bed with a pulse test, and no run yet."""
    pulse = builders.make_pulse_file(PLOVER)
    form = {"packing": "1", "injection_ml": "16", "performed_at": "2025-01-06T12:00", "tracer": "salt"}
    assert (
        site.visitor("engineer").post("/pulse-tests", form, file=(pulse.filename, pulse.content)).is_redirect
    )
    return site


def as_an_older_method_read_it(site: Site, verdict: str = "fail") -> dict[str, Any]:
    """Let what is stored be of an older version that saw half the plates, and return it."""
    with site.writing() as session:
        test = session.get_one(PulseTest, 1)
        value, u = test.estimates["plates_half_height"]
        test.estimates = test.estimates | {"plates_half_height": [value / 2, u]}
        test.method_version, test.verdict = "0", verdict
        session.flush()
        return {
            name: getattr(test, name) for name in ("settings", "estimates", "doubts", "checks", "working")
        }


def test_the_same_method_finds_what_is_stored_and_stores_nothing(tested: Site):
    before = rows_of(tested, "pulse_tests")
    (report,) = recompute(tested)
    assert [(one["test"], one["new"], one["why"]) for one in report.content["pulse_tests"]] == [
        (1, False, "")
    ]
    assert rows_of(tested, "pulse_tests") == before
    assert tested.counts()["earlier_pulse_results"] == 0


def test_a_new_result_counts_and_the_old_one_is_kept_whole(tested: Site):
    old = as_an_older_method_read_it(tested)
    (report,) = recompute(tested)
    with tested.writing() as session:
        test, kept = session.get_one(PulseTest, 1), session.query(EarlierPulseResult).one()
        assert (test.method_version, test.verdict) == (science.VERSION, "pass")
        assert (kept.method_version, kept.verdict, kept.recomputation_id) == ("0", "fail", 1)
        assert {name: getattr(kept, name) for name in old} == old
        after, before = test.estimates["plates_half_height"], old["estimates"]["plates_half_height"]
        assert after[0] == pytest.approx(2 * before[0])
    (told,) = report.content["pulse_tests"]
    assert told["verdicts"] == ["fail", "pass"]
    assert told["largest"]["metric"] == "plates_half_height"
    assert told["largest"]["in_u"] == pytest.approx((after[0] - before[0]) / before[1], abs=1e-4)
    (again,) = recompute(tested, reason="To see that it is the same")
    assert again.content["pulse_tests"][0]["new"] is False


def test_pages_and_records_say_what_it_was_and_why(tested: Site):
    as_an_older_method_read_it(tested)
    recompute(tested)
    viewer = tested.visitor("viewer")
    page = viewer.page("/recomputations/1")
    assert "Pulse test of 2025-01-06: pass, before fail" in page
    page = viewer.page("/pulse-tests/1")
    assert "Counted until" in page and REASON in page
    with tested.writing() as session:
        said = session.query(Record).filter_by(did="recompute", thing="packing").one()
        assert said.said.endswith("pulse test 1: fail before, pass now")
        assert said.why == REASON


def test_a_harmed_trace_leaves_the_old_result(tested: Site):
    as_an_older_method_read_it(tested)
    with tested.engine.begin() as connection:
        connection.execute(text("update traces set content = :other"), {"other": b"not what came"})
    before = rows_of(tested, "pulse_tests")
    (report,) = recompute(tested)
    assert "are not those that were received" in report.content["pulse_tests"][0]["why"]
    assert rows_of(tested, "pulse_tests") == before
    assert "skipped, its old result stays" in tested.visitor("viewer").page("/recomputations/1")


def test_a_voided_test_stays_as_it_is(tested: Site):
    as_an_older_method_read_it(tested)
    tested.visitor("engineer").post("/pulse-tests/1/void", {"reason": "wrong tracer"})
    (report,) = recompute(tested)
    assert report.content["pulse_tests"] == []
    assert tested.counts()["earlier_pulse_results"] == 0


def test_a_rehearsal_reports_the_same_and_changes_nothing(tested: Site):
    as_an_older_method_read_it(tested)
    before, counts = rows_of(tested, "pulse_tests"), tested.counts()
    reports: list[BedReport] = []
    with ThreadPoolExecutor(1) as workers:
        jobs.rehearse(means_of(tested, workers), column="Plover", reason=REASON, told=reports.append)
    assert (rows_of(tested, "pulse_tests"), tested.counts()) == (before, counts)
    (real,) = recompute(tested)
    assert [one.content for one in reports] == [real.content]
