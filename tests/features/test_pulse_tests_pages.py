"""Log a pulse test over HTTP, see its verdict and its construction, void it."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from html import unescape

import pytest
from tests.library_forms import fill_packed
from tests.sites import Site
from tests.visitors import Visitor

FACTS = {"packing": "1", "performed_at": "2025-03-13T10:00", "injection_ml": "64", "tracer": "salt"}
BED_L = math.pi / 4 * 2.0**2 * 2.05  # 20 cm wide, 20.5 cm high


def peak(*, mean_l: float = 5.5, spread_l: float = 0.25, second: float = 0.0) -> bytes:
    """A Gaussian peak over 8 L: N = (mean / spread)^2, so its plates are known; a second one if so asked."""
    lines = ["Volume [L],Conductivity [mS/cm]"]
    for i in range(1601):
        volume = i / 200
        height = sum(
            part * math.exp(-0.5 * ((volume - centre) / spread_l) ** 2)
            for part, centre in ((5.0, mean_l), (second, mean_l - 5 * spread_l))
        )
        lines.append(f"{volume:.4f},{2 + height:.5f}")
    return "\n".join(lines).encode()


@pytest.fixture
def packed(open_site: Callable[..., Site]) -> Site:
    return open_site(fill_packed)


@pytest.fixture
def engineer(packed: Site) -> Visitor:
    return packed.visitor("engineer")


def log(visitor: Visitor, content: bytes, status: int = 303, **changed: str) -> str:
    return unescape(visitor.send("/pulse-tests", FACTS | changed, status, file=("pulse.csv", content)))


def chart_of(page: str) -> dict[str, list[float]]:
    found: dict[str, list[float]] = json.loads(
        page.split('<script type="application/json">')[1].split("<")[0]
    )
    return found


def test_a_good_peak_qualifies_the_bed(engineer: Visitor):
    """N = (5.5 / 0.25)^2 = 484 on 20.5 cm of 90 µm beads: h = 0.205 / 484 / 90e-6 = 4.71."""
    page = log(engineer, peak())
    assert "The bed passes." in page
    assert "Reduced plate height 4.7" in page
    packing = engineer.page("/packings/1").lower()
    assert "qualified" in packing
    assert "not qualified" not in packing


def test_the_chart_draws_the_peak_and_its_rulers_where_the_numbers_come_from(engineer: Visitor):
    """A Gaussian is 2 sqrt(2 ln 2) = 2.355 standard deviations wide at half height."""
    chart = chart_of(log(engineer, peak()))
    apex_cv, height = chart["apex"]
    assert apex_cv == pytest.approx(5.5 / BED_L, rel=1e-3)
    assert height == pytest.approx(5.0, rel=0.01)
    half = next(ruler["line"] for ruler in chart["rulers"] if "half" in ruler["name"])  # type: ignore[index]
    assert half[2] - half[0] == pytest.approx(2.355 * 0.25 / BED_L, rel=0.01)
    assert half[1] == half[3] == pytest.approx(2.5, rel=0.01)
    assert chart["unit"] == "mS/cm"
    assert len(chart["volume"]) == len(chart["signal"]) <= 501


def test_a_broad_peak_does_not_qualify_and_names_the_criterion(engineer: Visitor):
    page = log(engineer, peak(spread_l=0.45))  # N = 149, h = 15
    assert "The bed does not pass." in page
    assert "is outside the limit of at most 10" in page


def test_a_double_peak_fails_and_the_page_does_not_say_that_all_is_met(engineer: Visitor):
    page = log(engineer, peak(second=2.5))
    assert "The bed passes." not in page
    assert "Every criterion is met." not in page


def test_the_same_file_is_not_logged_twice(packed: Site, engineer: Visitor):
    log(engineer, peak())
    assert "is recorded as a pulse test of this bed already" in log(engineer, peak(), 409)
    assert packed.counts()["pulse_tests"] == 1


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("injection_ml", "", "injected volume is missing"),
        ("injection_ml", "-3", "can't be right for this bed"),
        ("injection_ml", "9000", "can't be right for this bed"),
        ("performed_at", "", "When the test was performed is missing"),
        ("performed_at", "2099-01-01T00:00", "still to come"),
        ("performed_at", "2024-01-01T00:00", "The bed was packed on 2025-03-12"),
    ],
)
def test_facts_that_can_not_be_are_refused_beside_their_field(
    packed: Site, engineer: Visitor, field: str, value: str, said: str
):
    before = packed.counts()
    page = log(engineer, peak(), 422, **{field: value})
    assert said in page.split(f'id="error-{field}"')[1].split("</p>")[0]
    assert 'value="salt"' in page
    assert packed.counts() == before


def test_a_file_that_is_no_trace_is_refused_and_not_kept(packed: Site, engineer: Visitor):
    before = packed.counts()
    page = log(engineer, b"not a trace", 422)
    assert "Log a pulse test" in page
    assert packed.counts() == before


def test_a_voided_test_stays_visible_and_no_longer_qualifies(packed: Site, engineer: Visitor):
    log(engineer, peak())
    assert "A reason is missing" in engineer.send("/pulse-tests/1/void", {"reason": ""}, 422)
    page = engineer.send("/pulse-tests/1/void", {"reason": "wrong column"})
    assert "wrong column" in page
    assert "Void this test" not in page
    packing = engineer.page("/packings/1")
    assert "not qualified" in packing
    assert "pass, voided" in packing
    engineer.send("/pulse-tests/1/void", {"reason": "again"}, 409)
    assert "wrong column" in engineer.page("/records?thing=pulse test")


def test_a_file_whose_test_was_voided_can_be_logged_again(engineer: Visitor):
    log(engineer, peak())
    engineer.send("/pulse-tests/1/void", {"reason": "wrong injected volume"})
    assert "The bed passes." in log(engineer, peak(), injection_ml="60")


def test_roles(packed: Site):
    viewer, operator = packed.visitor("viewer"), packed.visitor("operator")
    viewer.page("/pulse-tests/new?packing=1", 403)
    log(viewer, peak(), 403)
    log(operator, peak())
    assert "Void this test" not in operator.page("/pulse-tests/1")
    operator.send("/pulse-tests/1/void", {"reason": "x"}, 403)
    viewer.page("/pulse-tests/1")


def test_a_test_or_bed_that_is_not_there_is_not_found(engineer: Visitor):
    engineer.page("/pulse-tests/7", 404)
    engineer.page("/pulse-tests/new?packing=7", 404)


def test_the_next_form_is_filled_in_as_the_last_test(engineer: Visitor):
    assert "as in this column" not in engineer.page("/pulse-tests/new?packing=1")
    log(engineer, peak())
    page = engineer.page("/pulse-tests/new?packing=1")
    assert "as in this column" in page
    assert 'value="salt"' in page
    assert 'value="64.00"' in page


def look(visitor: Visitor, content: bytes, status: int = 200, **changed: str) -> str:
    answer = visitor.post("/pulse-tests/look", FACTS | changed, file=("pulse.csv", content))
    assert answer.status_code == status
    return unescape(answer.text)


def test_a_look_tells_the_verdict_and_records_nothing(packed: Site, engineer: Visitor):
    fragment = look(engineer, peak(), performed_at="")
    assert "The bed passes." in fragment
    assert chart_of(fragment)["apex"][0] == pytest.approx(5.5 / BED_L, rel=1e-3)
    assert packed.counts()["pulse_tests"] == packed.counts()["traces"] == 0


def test_a_look_at_a_letter_says_what_is_wrong(engineer: Visitor):
    assert 'role="alert"' in look(engineer, b"Dear colleagues,\nall is well.\n", 422)
