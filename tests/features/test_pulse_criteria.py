"""A site sets how its pulse tests are read and judged; each test keeps what it was judged by."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from html import unescape

import pytest
from sqlalchemy.orm import Session
from tests import builders
from tests.builders import PACKED, make_pulse_file
from tests.library_forms import fill_library
from tests.sites import PLOVER, Site

from beadline.features.pulse_tests import service as pulse_tests
from beadline.features.pulse_tests.schemas import SHIPPED, Standard, TestFacts
from beadline.kit import clock
from beadline.kit.errors import Conflict, Invalid
from beadline.science import pulse
from beadline.store.tables import Packing, PulseTest, User

NOW = clock.now()
STRICT = Standard(
    criteria=pulse.Criteria(asymmetry=(0.95, 1.01), source="SOP 12"),
    settings=pulse.Settings(asymmetry_level=0.5),
)
FORM = {
    "reduced_plate_height_highest": "6",
    "asymmetry_lowest": "0,9",
    "asymmetry_highest": "1,4",
    "asymmetry_level": "20",
    "tailing_level": "5",
    "half_height_constant": "5.545",
    "baseline": "constant",
    "corrected": "yes",
    "source": "SOP 12",
    "reason": "Our procedure",
}


@pytest.fixture
def bed(session: Session, people: dict[str, User]) -> Packing:
    return builders.make_packing(session, PLOVER, by=people["engineer"])


def log(session: Session, bed: Packing, by: User, *, injection_ml: float = 16.0) -> PulseTest:
    file = make_pulse_file(PLOVER)
    facts = TestFacts(performed_at=PACKED + timedelta(hours=3), injection_ml=injection_ml, tracer="salt")
    return pulse_tests.log(
        session, packing=bed, content=file.content, filename=file.filename, facts=facts, by=by, at=NOW
    )


def test_until_a_site_chooses_what_is_shipped_holds(session: Session):
    assert pulse_tests.standard.present(session) == SHIPPED
    assert SHIPPED.criteria.source == "common practice, no source"


def test_a_test_is_read_and_judged_by_what_holds_and_keeps_it(
    session: Session, bed: Packing, people: dict[str, User]
):
    first = log(session, bed, people["operator"])
    pulse_tests.void(session, first, reason="once more", by=people["engineer"], at=NOW)
    pulse_tests.standard.change(session, STRICT, reason="SOP 12", by=people["engineer"], at=NOW)
    second = log(session, bed, people["operator"])
    assert (first.verdict, second.verdict) == ("pass", "fail")
    assert first.settings["asymmetry_level"] == 0.10
    assert second.settings["asymmetry_level"] == 0.5
    assert second.estimates["asymmetry"][0] < first.estimates["asymmetry"][0]  # a tail shows lower down
    again = pulse_tests.read_again(session, second, bed)
    assert again.result.estimates["asymmetry"].value == pytest.approx(second.estimates["asymmetry"][0])
    assert again.criteria == STRICT.criteria


def test_a_change_needs_a_reason_and_must_change_something(session: Session, people: dict[str, User]):
    engineer = people["engineer"]
    with pytest.raises(Invalid, match="reason is missing"):
        pulse_tests.standard.change(session, STRICT, reason=" ", by=engineer, at=NOW)
    with pytest.raises(Conflict, match="criteria that hold"):
        pulse_tests.standard.change(session, SHIPPED, reason="none", by=engineer, at=NOW)


@pytest.fixture
def stocked(open_site: Callable[..., Site]) -> Site:
    return open_site(fill_library)


def test_an_engineer_sets_the_criteria_on_a_page(stocked: Site):
    engineer = stocked.visitor("engineer")
    assert 'value="1.8"' in engineer.page("/library/criteria/new")
    page = unescape(engineer.send("/library/criteria", FORM))
    assert "Criteria of pulse tests, version 1" in page
    assert "Asymmetry at 20 %" in page
    assert "SOP 12" in page
    form = engineer.page("/library/criteria/new")
    assert 'value="20"' in form
    assert 'value="0.9"' in form
    record = engineer.page("/records?thing=pulse+criteria")
    assert "asymmetry 0.8..1.8 to 0.9..1.4" in record
    assert "Our procedure" in record


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("asymmetry_lowest", "2", "lowest must be below"),
        ("asymmetry_level", "", "1 to 90 %"),
        ("tailing_level", "95", "1 to 90 %"),
        ("source", " ", "Where the limits come from"),
        ("reason", "", "A reason is missing"),
        ("asymmetry_highest", "much", "not a number"),
    ],
)
def test_criteria_that_can_not_be_are_refused_beside_their_field(
    stocked: Site, field: str, value: str, said: str
):
    engineer = stocked.visitor("engineer")
    before = stocked.counts()
    page = unescape(engineer.send("/library/criteria", FORM | {field: value}, 422))
    assert said in page.split(f'id="error-{field}"')[1].split("</p>")[0]
    assert stocked.counts() == before


def test_an_operator_does_not_set_criteria(stocked: Site):
    stocked.visitor("operator").send("/library/criteria", FORM, 403)
