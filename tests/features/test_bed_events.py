"""Cleaning and maintenance of a bed: noted, placed among the cycles, corrected, never deleted."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import CheckConstraint
from tests import papers, sites
from tests.builders import HEALTHY, PACKED
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.bed_events import service as bed_events
from beadline.features.bed_events.schemas import SENTENCES, Placed
from beadline.features.overview.schemas import MARKS
from beadline.store.tables import BedEvent

EVENTS = "/packings/1/events"
BED = f"/columns/{PLOVER.column.asset_tag}"


def after(cycle: int, hours: float = 10) -> str:
    """A time after a cycle of the builders, which start a day apart."""
    return f"{PACKED + timedelta(days=cycle, hours=hours):%Y-%m-%dT%H:%M}"


def event(kind: str = "probe calibrated", cycle: int = 7, **more: str) -> dict[str, str]:
    return {"kind": kind, "happened_at": after(cycle)} | more


def placed(kind: str, cycle: int) -> Placed:
    return Placed(BedEvent(kind=kind), cycle)


def test_every_kind_that_is_offered_is_one_that_the_database_takes():
    checks = {
        str(c.name): str(c.sqltext) for c in BedEvent.__table__.constraints if isinstance(c, CheckConstraint)
    }
    known = checks["ck_bed_events_known_kind"].split("(", 1)[1].rstrip(")").replace("'", "")
    assert [one.strip() for one in known.split(",")] == list(SENTENCES)


def test_an_event_is_on_the_timeline_the_axis_the_table_and_the_csv(life: Site):
    visitor = life.visitor("operator")
    page = visitor.send(EVENTS, event("cleaned in place", note="0.5 mol/L caustic, 30 min"))
    assert page.count("Cleaned in place, after cycle 7: 0.5 mol/L caustic, 30 min") == 2  # chart and table
    assert '"mark":"≈"' in page and '"place":7.5' in page and MARKS["≈"] in page
    rows = list(csv.DictReader(io.StringIO(visitor.page(f"{BED}/results.csv"))))
    assert rows[6]["events"] == "Cleaned in place, after cycle 7: 0.5 mol/L caustic, 30 min"
    assert rows[0]["events"].startswith("Packed, before cycle 1")
    assert not rows[5]["events"]


def test_the_cycle_that_was_noted_goes_before_the_time(life: Site):
    life.visitor("operator").send(EVENTS, event(cycle=7, after_cycle="3"))
    listed = life.client.get("/api/v1/packings/1/events", headers=bearer(life.token("viewer"))).json()
    assert [(one["after_cycle"], one["family"], one["kind"]) for one in listed] == [
        (3, "maintenance", "probe calibrated")
    ]


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"kind": "polished"}, "This is not known"),
        ({"kind": "other work"}, "What was done is missing"),
        ({"happened_at": ""}, "The time is missing"),
        ({"happened_at": "2199-01-01T00:00"}, "still to come"),
        ({"happened_at": "2024-12-01T00:00"}, "The bed was packed on 2025-01-06"),
        ({"after_cycle": str(HEALTHY + 1)}, f"This bed has cycles up to {HEALTHY}"),
        ({"after_cycle": "2.5"}, "not a whole number"),
    ],
)
def test_what_can_not_be_is_refused_beside_its_field(life: Site, wrong: dict[str, str], said: str):
    visitor, before = life.visitor("operator"), life.counts()
    page = visitor.send(EVENTS, event(note="") | wrong, 422)
    assert said in page and 'aria-invalid="true"' in page
    assert life.counts() == before


def test_what_is_sent_twice_is_noted_once(life: Site):
    sent = {"kind": "sanitised", "happened_at": f"{after(5)}Z"}
    credentials = bearer(life.token("operator"))
    made = life.client.post("/api/v1/packings/1/events", json=sent, headers=credentials)
    again = life.client.post("/api/v1/packings/1/events", json=sent, headers=credentials)
    assert (made.status_code, made.json()["after_cycle"]) == (201, 5)
    assert (again.status_code, again.json()["code"]) == (409, "same-event")


def test_a_wrong_event_is_voided_and_a_new_row_stands_in_its_place(life: Site):
    life.visitor("operator").send(EVENTS, event(note="pH probe"))
    engineer = life.visitor("engineer")
    assert 'value="2025-01-13T19:00"' in engineer.page(f"{EVENTS}?correct=1")
    form = event(note="conductivity probe", reason="Wrong probe")
    assert "A reason is missing" in engineer.send(f"{EVENTS}/1/correct", form | {"reason": " "}, 422)
    page = engineer.send(f"{EVENTS}/1/correct", form)
    assert "voided: Wrong probe" in page and "conductivity probe" in page
    listed = life.client.get("/api/v1/packings/1/events", headers=bearer(life.token("viewer"))).json()
    assert [(one["voided"], one["replaces"], one["note"]) for one in listed] == [
        (True, None, "pH probe"),
        (False, 1, "conductivity probe"),
    ]
    assert "pH probe" not in engineer.page(BED)
    assert "instead of probe calibrated 2025-01-13 19:00 UTC (pH probe)" in engineer.page("/records")


def test_an_event_is_voided_once(life: Site):
    life.visitor("operator").send(EVENTS, event(note="pH probe"))
    engineer = life.visitor("engineer")
    form = {"step": "void", "reason": "Another column"}
    engineer.send(f"{EVENTS}/1/correct", form)
    assert "was voided before" in engineer.send(f"{EVENTS}/1/correct", form, 409)
    assert "pH probe" not in engineer.page(BED)


def test_a_program_voids_a_wrong_event_with_a_reason(life: Site):
    life.visitor("operator").send(EVENTS, event())
    address = "/api/v1/packings/1/events/1/void"
    asked = [
        life.client.post(address, json={"reason": why}, headers=bearer(life.token(role)))
        for role, why in (("operator", "x"), ("engineer", " "), ("engineer", "Another bed"))
    ]
    assert [one.status_code for one in asked] == [403, 422, 200]
    assert (asked[2].json()["voided"], asked[2].json()["void_reason"]) == (True, "Another bed")


def test_an_operator_notes_and_does_not_correct(life: Site):
    operator = life.visitor("operator")
    operator.send(EVENTS, event())
    assert operator.post(f"{EVENTS}/1/correct", {"step": "void", "reason": "x"}).status_code == 403
    assert "?correct=" not in operator.page(EVENTS)
    assert "Note it" not in life.visitor("viewer").page(EVENTS)


def test_a_change_of_the_bed_is_told_with_what_was_done_about_then(open_site: Callable[..., Site]):
    """The bed cracks after its healthy cycles; work just before that is named, older work is not."""
    cracked = open_site(sites.fill_cracked_life)
    operator = cracked.visitor("operator")
    operator.send(EVENTS, event("probe calibrated", HEALTHY - 12))
    page = operator.send(EVENTS, event("adapter adjusted", HEALTHY))
    said = f"Noted about then: the adapter was adjusted before cycle {HEALTHY + 1}."
    for told in (page, operator.page("/alerts/1"), papers.text_of(papers.pdf_of(cracked, "/alerts/1.pdf"))):
        assert said in told
        assert "probe was calibrated" not in told


def test_the_life_on_paper_lists_what_was_done_and_what_was_voided(life: Site):
    operator = life.visitor("operator")
    operator.send(EVENTS, event("cleaned in place", 4, note="0.5 mol/L caustic"))
    operator.send(EVENTS, event("frit changed", 5))
    life.visitor("engineer").send(f"{EVENTS}/2/correct", {"step": "void", "reason": "Another column"})
    text = papers.text_of(papers.pdf_of(life, "/packings/1.pdf"))
    for said in ("Cleaned in place", "0.5 mol/L caustic", "Frit changed, voided: Another column"):
        assert said in text, said


def test_what_lies_nearest_is_named_first_and_the_rest_is_counted():
    done = [
        placed("pump serviced", 40),
        placed("frit changed", 44),
        placed("sanitised", 45),
        placed("other work", 47),
    ]
    said = bed_events.noted_near(done, since=46, low=41, high=48)
    assert said == (
        "Noted about then: the bed was sanitised before cycle 46; a frit was changed before cycle 45; "
        "other work was done before cycle 48, and 1 more."
    )


@given(cycle=st.integers(0, 99), since=st.integers(1, 99), low=st.integers(0, 9), high=st.integers(0, 9))
def test_only_what_lies_within_a_cycle_of_the_change_is_near(cycle: int, since: int, low: int, high: int):
    said = bed_events.noted_near(
        [placed("sanitised", cycle)], since=since, low=since - low, high=since + high
    )
    assert bool(said) == (since - low - 1 <= cycle + 1 <= since + high + 1)
