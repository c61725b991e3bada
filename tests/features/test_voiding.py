"""A wrong run is voided with a reason: it leaves the statistics, never the record (21 CFR 11.10(e))."""

from __future__ import annotations

from sqlalchemy import text
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.cycles import service as cycles


def newest(site: Site) -> tuple[int, int]:
    with site.engine.connect() as connection:
        row = connection.execute(text("select id, number from cycles order by number desc limit 1")).one()
    return row[0], row[1]


def standing(site: Site) -> tuple[int, int]:
    with site.engine.connect() as connection:
        row = connection.execute(text("select cycles, last_cycle from bed_states")).one()
    return row[0], row[1]


def test_a_voided_run_leaves_the_statistics_and_stays_in_the_record(life: Site):
    cycle_id, number = newest(life)
    engineer = life.visitor("engineer")
    answer = engineer.post(f"/cycles/{cycle_id}/void", {"reason": "Wrong column chosen."})
    assert answer.status_code == 303
    assert standing(life) == (HEALTHY - 1, number - 1)
    with life.writing() as session:
        assert cycles.used_by_lots(session, [1]) == {1: HEALTHY - 1}
    with life.engine.connect() as connection:
        row = connection.execute(
            text("select void_reason, trace_id from cycles where id = :id"), {"id": cycle_id}
        ).one()
        said = connection.execute(text("select did, why from records order by id desc limit 1")).one()
    assert row[0] == "Wrong column chosen."
    assert row[1] is not None
    assert tuple(said) == ("void", "Wrong column chosen.")


def test_its_number_and_its_file_can_be_used_again(life: Site):
    cycle_id, number = newest(life)
    life.visitor("engineer").post(f"/cycles/{cycle_id}/void", {"reason": "Wrong batch."})
    file = builders.make_cycle_file(PLOVER, number)
    answer = life.post_run(file, credentials=bearer(life.token("operator")))
    assert (answer.status_code, answer.json()["cycle"]) == (201, number)


def test_a_run_is_not_voided_without_a_reason_nor_by_an_operator(life: Site):
    cycle_id, _ = newest(life)
    before = life.counts()
    assert life.visitor("engineer").post(f"/cycles/{cycle_id}/void", {"reason": " "}).status_code == 422
    assert life.visitor("operator").post(f"/cycles/{cycle_id}/void", {"reason": "x"}).status_code == 403
    after = life.counts()
    assert {name: after[name] for name in ("cycles", "judgements", "transitions")} == {
        name: before[name] for name in ("cycles", "judgements", "transitions")
    }
