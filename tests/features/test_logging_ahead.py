"""A file is analysed before the transaction that records it; what is written is what would come out in it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC

import pytest
from sqlalchemy import Connection, event
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.accounts import queries as account_queries
from beadline.features.cycles.schemas import RunFacts
from beadline.features.intake import service as intake
from beadline.features.intake.schemas import Corrections, LoggedRun
from beadline.features.intake.service import bulk
from beadline.features.intake.service.preparing import Ahead
from beadline.features.packings import service as packings
from beadline.features.transitions import queries as transition_queries
from beadline.kit import clock
from beadline.store.engine import READ_ONLY, reading_sessions

pytestmark = pytest.mark.every_dialect

FILE = builders.make_cycle_file(PLOVER, HEALTHY + 1)


def looked_at(site: Site, **corrected: object) -> Ahead:
    with reading_sessions(site.engine)() as session:
        found = intake.ahead(
            session, packings.get(session, 1), FILE.content, filename=FILE.filename, **corrected
        )
    assert found is not None
    return found


def logged(site: Site, before: Ahead | None, corrections: Corrections | None = None) -> LoggedRun:
    with site.writing() as session:
        by = account_queries.user_named(session, "operator")
        assert by is not None
        return intake.log_run(
            session,
            packings.get(session, 1),
            FILE.content,
            filename=FILE.filename,
            facts=RunFacts(),
            came_by="api",
            corrections=corrections,
            before=before,
            by=by,
            at=clock.now(),
        )


def how_found(site: Site, cycle_id: int) -> list[str]:
    with site.writing() as session:
        return [row.how_found for row in transition_queries.of_cycle(session, cycle_id)]


def marked(before: Ahead) -> Ahead:
    """The same, recognisable where it is stored."""
    run = before.run
    seen = tuple(replace(one, how_found="Analysed ahead.") for one in run.transitions)
    return replace(before, run=replace(run, transitions=seen))


def test_what_was_analysed_ahead_is_what_is_recorded(life: Site):
    cycle = logged(life, marked(looked_at(life))).cycle
    assert how_found(life, cycle.id) == ["Analysed ahead."] * 2


def test_it_is_analysed_again_if_the_bed_was_corrected_meanwhile(life: Site):
    before = marked(looked_at(life))
    with life.engine.begin() as connection:
        connection.exec_driver_sql("update packings set bed_height_mm = 190 where id = 1")
    assert "Analysed ahead." not in how_found(life, logged(life, before).cycle.id)


def test_it_is_analysed_again_if_the_reference_became_another_one(life: Site):
    before = marked(looked_at(life))
    with life.writing() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        intake.exclude_run(session, 2, reason="Probe swapped", by=engineer, at=clock.now())
    assert "Analysed ahead." not in how_found(life, logged(life, before).cycle.id)


def test_it_is_analysed_again_with_other_corrections(life: Site):
    moved = Corrections(switches_m3={"wash to strip": 0.003})
    before = marked(looked_at(life))
    assert "Analysed ahead." not in how_found(life, logged(life, before, moved).cycle.id)


def test_a_file_that_is_recorded_is_not_analysed_again(life: Site):
    answer = life.post_run(FILE, credentials=bearer(life.token("operator")))
    assert answer.status_code == 201
    with reading_sessions(life.engine)() as session:
        packing = packings.get(session, 1)
        assert intake.ahead(session, packing, FILE.content, filename=FILE.filename) is None


def test_nobody_is_held_off_while_a_file_is_analysed(life: Site):
    """One that can't be read is refused before any transaction that could write has begun."""
    writing: list[bool] = []

    def seen(connection: Connection) -> None:
        writing.append(not connection.get_execution_options().get(READ_ONLY, False))

    credentials = bearer(life.token("operator"))
    event.listen(life.engine, "begin", seen)
    assert life.post_run(("run.csv", b"nothing of a run"), credentials=credentials).status_code == 422
    assert writing
    assert not any(writing)
    assert life.post_run(FILE, credentials=credentials).status_code == 201
    assert writing.count(True) == 1


def test_several_runs_that_were_analysed_ahead_are_recorded_as_they_came_out(life: Site):
    files = [builders.make_cycle_file(PLOVER, HEALTHY + more) for more in (1, 2)]
    sent = [bulk.Arriving(one.content, one.filename, RunFacts()) for one in files]
    with reading_sessions(life.engine)() as session:
        runs = bulk.ahead(session, packings.get(session, 1), sent)
    befores = [marked(one.before) for one in runs if one.before is not None]
    runs = tuple(replace(one, before=before) for one, before in zip(runs, befores, strict=True))
    with life.writing() as session:
        by = account_queries.user_named(session, "operator")
        assert by is not None
        arrived, _ = bulk.log_runs(
            session, packings.get(session, 1), runs, came_by="api", by=by, at=clock.now(), zone=UTC
        )
    cycles = [one.logged.cycle.id for one in arrived if one.logged is not None]
    assert [how_found(life, cycle) for cycle in cycles] == [["Analysed ahead."] * 2] * 2
