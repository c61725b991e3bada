"""A cycle can be left out of the statistics, with a reason, and be counted again; the record keeps it all."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import select, text
from tests import builders, sites
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.store.tables import Alert, BedState, Cycle, Judgement

REASON = "Conductivity probe was swapped during the run."


def id_of(site: Site, number: int) -> int:
    with site.writing() as session:
        return session.scalars(select(Cycle.id).where(Cycle.number == number)).one()


def stands(site: Site) -> dict[str, Any]:
    with site.writing() as session:
        found = session.scalars(select(BedState)).one()
        return {"beads": found.beads, "latest": found.latest, "cycles": found.cycles, "state": found.state}


def judgements(site: Site) -> list[tuple[Any, ...]]:
    with site.engine.connect() as connection:
        query = select(
            Judgement.cycle_id, Judgement.verdict, Judgement.condition, Judgement.drift, Judgement.charts
        )
        return [tuple(row) for row in connection.execute(query.order_by(Judgement.cycle_id))]


def exclude(site: Site, number: int, reason: str = REASON) -> int:
    answer = site.visitor("engineer").post(f"/cycles/{id_of(site, number)}/exclude", {"reason": reason})
    return answer.status_code


def test_the_baseline_is_learnt_without_an_excluded_cycle(life: Site):
    assert exclude(life, 5) == 303
    after = stands(life)
    assert after["state"]["baseline"]["cycles"] == [n for n in range(1, 17) if n != 5]
    assert after["beads"][4] == [5, None, 4]
    assert after["cycles"] == HEALTHY, "it still counts as a use of the bed"


def test_the_record_says_who_excluded_it_and_why(life: Site):
    exclude(life, 5)
    with life.engine.connect() as connection:
        said = connection.execute(
            text("select did, thing, said, why, user_name from records order by id desc limit 1")
        ).one()
    assert tuple(said) == (
        "exclude",
        "cycle",
        "Excluded cycle 5 from the statistics of its bed",
        REASON,
        "engineer",
    )


def test_counting_it_again_judges_every_cycle_as_before(life: Site):
    before, beads = judgements(life), stands(life)["beads"]
    exclude(life, 5)
    assert judgements(life) != before
    answer = life.visitor("engineer").post(
        f"/cycles/{id_of(life, 5)}/count-again", {"reason": "The probe was swapped a day later."}
    )
    assert answer.status_code == 303
    assert judgements(life) == before
    assert stands(life)["beads"] == beads
    with life.engine.connect() as connection:
        did, before_it = connection.execute(
            text("select did, before from records order by id desc limit 1")
        ).one()
    assert did == "count again"
    assert REASON in str(before_it)


def test_the_next_run_is_judged_as_if_the_whole_life_were_judged_anew(life: Site):
    exclude(life, 5)
    file = builders.make_cycle_file(PLOVER, HEALTHY + 1)
    assert life.post_run(file, credentials=bearer(life.token("operator"))).status_code == 201
    judged = judgements(life)
    exclude(life, 3)
    life.visitor("engineer").post(f"/cycles/{id_of(life, 3)}/count-again", {"reason": "It counts."})
    assert judgements(life) == judged


def test_an_excluded_newest_cycle_is_not_the_number_that_the_bed_shows(life: Site):
    before = stands(life)["latest"]
    exclude(life, HEALTHY)
    after = stands(life)["latest"]
    assert after["hetp_m"] != before["hetp_m"]


@pytest.mark.parametrize("role", ["viewer", "operator", "quality"])
def test_only_an_engineer_excludes(life: Site, role: str):
    cycle_id = id_of(life, 5)
    assert life.visitor(role).post(f"/cycles/{cycle_id}/exclude", {"reason": "x"}).status_code == 403
    assert life.visitor(role).post(f"/cycles/{cycle_id}/count-again", {"reason": "x"}).status_code == 403


def test_a_reason_is_needed_both_ways_and_nothing_is_done_twice(life: Site):
    engineer, cycle_id = life.visitor("engineer"), id_of(life, 5)
    assert exclude(life, 5, reason="  ") == 422
    assert engineer.post(f"/cycles/{cycle_id}/count-again", {"reason": "x"}).status_code == 409
    assert exclude(life, 5) == 303
    assert exclude(life, 5) == 409
    assert engineer.post(f"/cycles/{cycle_id}/count-again", {"reason": ""}).status_code == 422
    assert stands(life)["beads"][4] == [5, None, 4]


def test_a_voided_run_can_not_be_excluded(life: Site):
    cycle_id = id_of(life, HEALTHY)
    life.visitor("engineer").post(f"/cycles/{cycle_id}/void", {"reason": "Wrong column."})
    answer = life.visitor("engineer").post(f"/cycles/{cycle_id}/exclude", {"reason": "x"})
    assert answer.status_code == 409


def test_the_page_and_the_table_say_it_in_words(life: Site):
    exclude(life, 5)
    tag = PLOVER.column.asset_tag
    page = life.visitor("viewer").get(f"/columns/{tag}?cycle=5").text
    assert "Excluded from the statistics" in page
    assert REASON in page
    assert "1 excluded" in life.visitor("viewer").get("/").text
    header, *rows = life.visitor("viewer").get(f"/columns/{tag}/results.csv").text.splitlines()
    place = header.split(",").index("verdict")
    fifth = rows[4].split(",")
    assert fifth[place : place + 2] == ["excluded", REASON]
    assert {row.split(",")[place] for row in rows if row is not rows[4]} >= {"in limits"}


def test_an_alert_that_rests_on_excluded_cycles_is_over(open_site: Callable[..., Site]):
    life = open_site(sites.fill_cracked_life)
    with life.writing() as session:
        assert [alert.returned for alert in session.scalars(select(Alert))] == [False]
    for number in range(HEALTHY + 1, HEALTHY + 6):
        assert exclude(life, number) == 303
    with life.writing() as session:
        assert [alert.returned for alert in session.scalars(select(Alert))] == [True]
