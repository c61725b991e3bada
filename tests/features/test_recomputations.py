"""Stored traces analysed again: new results beside the old ones, all of a bed at once, nothing doubled."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest
from sqlalchemy import text
from sqlalchemy.orm import undefer
from tests import builders, sites
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.accounts import queries as account_queries
from beadline.features.intake import service as intake
from beadline.features.packings import service as packings
from beadline.features.recomputations import jobs
from beadline.features.recomputations import service as recomputations
from beadline.features.recomputations.schemas import BedReport
from beadline.features.records import service as records
from beadline.kit import clock
from beadline.kit.errors import Conflict, Invalid
from beadline.science import transition as science
from beadline.store.engine import reading_sessions, writing_sessions
from beadline.store.tables import Cycle, Record, Transition, User

pytestmark = pytest.mark.every_dialect

REASON = "The method reads tails better"
MISREAD = 18  # a healthy cycle after the baseline


def engineer_of(site: Site) -> User:
    with site.writing() as session:
        found = account_queries.user_named(session, "engineer")
        assert found is not None
        return found


def means_of(site: Site, executor: Executor) -> jobs.Means:
    new = writing_sessions(site.engine)
    return jobs.Means(
        new, reading_sessions(site.engine), jobs.Workers(executor, 2), engineer_of(site), clock.now, at_once=4
    )


def recompute(
    site: Site, *, column: str = "Plover", reason: str = REASON, executor: Executor | None = None
) -> list[BedReport]:
    """Order and do a recomputation as the command does."""
    reports: list[BedReport] = []
    with executor or ThreadPoolExecutor(1) as workers:
        means = means_of(site, workers)
        with means.new_session.begin() as session:
            order = recomputations.begin(session, column=column, reason=reason, by=means.by, at=clock.now())
        assert jobs.run(means, order.id, told=reports.append)
    return reports


def as_an_older_method_read_it(site: Site, *, factor: float = 1.0, misread: int | None = MISREAD) -> None:
    """Let what is stored be of an older version, with another plate height, and one cycle misread."""
    with site.writing() as session:
        for row in session.query(Transition):
            row.method_version = "0"
            cycle = session.get(Cycle, row.cycle_id)
            worse = 2.0 if cycle is not None and cycle.number == misread else factor
            value, u = row.estimates["hetp_moments"]
            row.estimates = row.estimates | {"hetp_moments": [value * worse, u]}
        session.flush()
        intake.judge_anew(session, packings.get(session, 1), by=engineer_of_open(session), at=clock.now())


def engineer_of_open(session: Any) -> User:
    found = account_queries.user_named(session, "engineer")
    assert found is not None
    return found


def results(site: Site) -> list[tuple[Any, ...]]:
    """Every stored result, whole: nothing of an old one may change but that it counts no more."""
    with site.writing() as session:
        rows = session.query(Transition).options(undefer("*")).order_by(Transition.id).all()
        return [
            (
                row.id,
                row.cycle_id,
                row.name,
                row.revision,
                row.method_version,
                str(row.settings),
                str(row.estimates),
                str(row.doubts),
                None if row.fraction is None else row.fraction.tobytes(),
                row.analysed_at,
            )
            for row in rows
        ]


def counting(site: Site) -> dict[tuple[int, str], tuple[int, str, int | None]]:
    """What counts, by cycle and transition: revision, version, recomputation; more than one would fail."""
    with site.writing() as session:
        rows = session.query(Transition).filter(Transition.superseded.is_(False)).all()
        found = {
            (row.cycle_id, row.name): (row.revision, row.method_version, row.recomputation_id) for row in rows
        }
        assert len(found) == len(rows)
        return found


def verdicts(site: Site) -> dict[int, str]:
    query = "select c.number, j.verdict from judgements j join cycles c on c.id = j.cycle_id"
    with site.engine.connect() as connection:
        return {row[0]: row[1] for row in connection.execute(text(query))}


def test_the_same_method_finds_what_is_stored_and_stores_nothing_again(life: Site):
    before, told = results(life), verdicts(life)
    (report,) = recompute(life)
    assert report.content["cycles"] == HEALTHY
    assert report.content["transitions"] == report.content["changed"] == 0
    assert results(life) == before
    assert verdicts(life) == told


def test_new_results_stand_beside_the_old_ones_and_name_their_method(life: Site):
    as_an_older_method_read_it(life)
    assert verdicts(life)[MISREAD] == "past action limit"
    before = results(life)
    (report,) = recompute(life)
    after = results(life)
    assert after[: len(before)] == before
    assert len(after) == 2 * len(before)
    assert set(counting(life).values()) == {(2, science.VERSION, 1)}
    assert verdicts(life)[MISREAD] == "in limits"
    content = report.content
    assert {"cycle": MISREAD, "before": "past action limit", "after": "in limits"} in content["verdicts"]
    assert content["changed"] == 2  # both transitions of the cycle that was misread
    largest = next(one for one in content["largest"] if one["metric"] == "hetp_moments")
    assert largest["cycle"] == MISREAD
    assert largest["in_u"] == pytest.approx(
        (largest["after"][0] - largest["before"][0]) / largest["before"][1], abs=1e-4
    )


def test_who_when_and_why_is_in_the_audit_trail(life: Site):
    as_an_older_method_read_it(life)
    recompute(life)
    with life.writing() as session:
        told = session.query(Record).filter(Record.did == "recompute").order_by(Record.id).all()
        assert [one.thing for one in told] == ["recomputation", "packing", "recomputation"]
        assert {(one.user_name, one.why) for one in told} == {("engineer", REASON)}
        assert told[1].before["methods"] == {f"{science.METHOD} 0": 2 * HEALTHY}
        assert told[1].after["methods"] == {f"{science.METHOD} {science.VERSION}": 2 * HEALTHY}
        assert records.verify(session) is None


def test_an_alert_keeps_its_event(open_site: Callable[..., Site]):
    site = open_site(sites.fill_cracked_life)
    as_an_older_method_read_it(site, factor=1.02, misread=None)
    query = "select id, raised_at, raised_by_cycle_id, level, status from alerts"
    with site.engine.connect() as connection:
        before = connection.execute(text(query)).all()
    (report,) = recompute(site)
    with site.engine.connect() as connection:
        assert connection.execute(text(query)).all() == before
    assert report.content["alerts"] == []
    assert report.content["changed"] == report.content["transitions"] == 2 * (HEALTHY + 5)


def test_an_alert_that_an_old_method_missed_is_raised_and_told(life: Site):
    for number in (HEALTHY + 1, HEALTHY + 2):
        assert life.post_run(
            builders.make_cycle_file(PLOVER, number), credentials=bearer(life.token("operator"))
        ).is_success
    with life.writing() as session:  # as if the old method had not seen the crack
        seen = {
            row.name: row
            for row in session.query(Transition).options(undefer("*")).filter_by(cycle_id=HEALTHY)
        }
        for row in session.query(Transition).filter(Transition.cycle_id > HEALTHY):
            row.method_version, row.estimates = "0", seen[row.name].estimates
            row.fraction = seen[row.name].fraction
        session.execute(text("delete from alert_events"))
        session.execute(text("delete from alerts"))
        session.flush()
        intake.judge_anew(session, packings.get(session, 1), by=engineer_of_open(session), at=clock.now())
    assert set(verdicts(life).values()) == {"in limits"}
    (report,) = recompute(life)
    (alert,) = report.content["alerts"]
    assert alert["what"].startswith("raised, at the ")
    assert {one["cycle"] for one in report.content["verdicts"]} == {HEALTHY + 1, HEALTHY + 2}
    page = life.visitor("viewer").page("/recomputations/1")
    assert f'<a href="/alerts/{alert["alert"]}">Alert {alert["alert"]}</a> raised' in page


def test_a_harmed_trace_is_reported_and_its_old_result_stays(life: Site):
    as_an_older_method_read_it(life)
    with life.engine.begin() as connection:
        connection.execute(
            text("update traces set content = :other where id = 3"), {"other": b"not what came"}
        )
        cycle = connection.execute(text("select id, number from cycles where trace_id = 3")).one()
    (report,) = recompute(life)
    (skipped,) = report.content["skipped"]
    assert skipped["cycle"] == cycle.number
    assert "are not those that were received" in skipped["why"]
    assert {counts[:2] for key, counts in counting(life).items() if key[0] == cycle.id} == {(1, "0")}
    assert {counts[:2] for key, counts in counting(life).items() if key[0] != cycle.id} == {
        (2, science.VERSION)
    }
    assert f"cycle {cycle.number}</a>: the stored bytes" in (
        life.visitor("viewer").page("/recomputations/1").lower()
    )


def test_voided_cycles_stay_and_excluded_ones_stay_excluded(life: Site):
    as_an_older_method_read_it(life)
    with life.writing() as session:
        engineer, now = engineer_of_open(session), clock.now()
        intake.void_run(session, 4, reason="Wrong bed", by=engineer, at=now)
        intake.exclude_run(session, 5, reason="Probe swapped", by=engineer, at=now)
    (report,) = recompute(life)
    counts = counting(life)
    assert {one[:2] for key, one in counts.items() if key[0] == 4} == {(1, "0")}
    assert {one[:2] for key, one in counts.items() if key[0] == 5} == {(2, science.VERSION)}
    assert (report.content["cycles"], report.content["voided"]) == (HEALTHY - 1, 1)
    with life.writing() as session:
        assert session.get_one(Cycle, 5).excluded_at is not None
    assert "1 voided: they count nowhere" in life.visitor("viewer").page("/recomputations/1")


def test_typed_values_are_left_as_they_are(life: Site):
    form = {"column": "Plover", "started_at": "2025-06-01T08:00", "hetp_cm": "0.05"}
    answer = life.client.post("/api/v1/typed-runs", json=form, headers=bearer(life.token("operator")))
    assert answer.status_code == 201, answer.text
    (report,) = recompute(life)
    assert (report.content["cycles"], report.content["typed"], report.content["skipped"]) == (HEALTHY, 1, [])


class Stops(ThreadPoolExecutor):
    """A pool that breaks after some traces, as when its process is killed."""

    def __init__(self, after: int) -> None:
        super().__init__(1)
        self.left = after

    def submit(self, *given: Any, **named: Any) -> Future[Any]:
        self.left -= 1
        if self.left < 0:
            raise ConnectionResetError("stopped")
        return super().submit(*given, **named)


@pytest.mark.parametrize(("after", "kept"), [(3, 0), (23, 4), (29, 12)])
def test_what_was_stopped_goes_on_and_doubles_nothing(life: Site, after: int, kept: int):
    """Fifteen early cycles are sent, ten of them again, then the five later ones."""
    as_an_older_method_read_it(life)
    before = counting(life)
    with pytest.raises(ConnectionResetError):
        recompute(life, executor=Stops(after))
    assert counting(life) == before  # all of a bed at once, or nothing
    assert life.counts()["recomputed_cycles"] == kept
    with pytest.raises(Conflict, match="is not at its end"):
        recompute(life, reason="Another reason")
    (report,) = recompute(life)
    assert report.content["transitions"] == len(before) == len(results(life)) / 2
    assert set(counting(life).values()) == {(2, science.VERSION, 1)}
    assert life.counts()["recomputed_cycles"] == HEALTHY
    assert life.counts()["recomputations"] == 1


def test_it_takes_the_same_way_stopped_or_not(life: Site):
    """After the second time the same method finds nothing new: references were the same."""
    as_an_older_method_read_it(life)
    with pytest.raises(ConnectionResetError):
        recompute(life, executor=Stops(29))
    recompute(life)
    (again,) = recompute(life, reason="To see that it is the same")
    assert again.content["transitions"] == 0


class Logs(ThreadPoolExecutor):
    """A pool during whose work somebody logs a run."""

    def __init__(self, site: Site) -> None:
        super().__init__(1)
        self.site = site
        self.logged: list[int] = []

    def submit(self, *given: Any, **named: Any) -> Future[Any]:
        if not self.logged:
            file = builders.make_cycle_file(builders.a_bed("Plover"), HEALTHY + 1)
            answer = self.site.post_run(file, credentials=bearer(self.site.token("operator")))
            self.logged.append(answer.status_code)
        return super().submit(*given, **named)


def test_a_run_that_is_logged_meanwhile_is_taken_too(life: Site):
    as_an_older_method_read_it(life)
    pool = Logs(life)
    (report,) = recompute(life, executor=pool)
    assert pool.logged == [201]
    assert report.content["cycles"] == HEALTHY + 1
    assert {version for _, version, _ in counting(life).values()} == {science.VERSION}
    assert set(verdicts(life).values()) == {"in limits"}


def test_two_processes_share_the_work_and_double_nothing(life: Site):
    as_an_older_method_read_it(life)
    failed: list[BaseException] = []

    def work() -> None:
        try:
            with ThreadPoolExecutor(1) as workers:
                jobs.run(means_of(life, workers), order.id, told=lambda report: None)
        except BaseException as error:
            failed.append(error)

    with life.writing() as session:
        order = recomputations.begin(
            session, column="", reason=REASON, by=engineer_of_open(session), at=clock.now()
        )
    both = [threading.Thread(target=work) for _ in range(2)]
    for one in both:
        one.start()
    for one in both:
        one.join()
    assert failed == []
    assert set(counting(life).values()) == {(2, science.VERSION, 1)}
    assert life.counts()["recomputed_cycles"] == HEALTHY
    with life.writing() as session:
        assert records.verify(session) is None
        ended = session.query(Record).filter(Record.said.startswith("Finished recomputation"))
        assert ended.count() == 1


class OfAnotherVersion(ThreadPoolExecutor):
    """Workers on which an older Beadline is installed."""

    def submit(self, *given: Any, **named: Any) -> Future[Any]:
        made = super().submit(*given, **named).result()
        older = [
            replace(one, result=one.result and replace(one.result, version="0")) for one in made.transitions
        ]
        answered: Future[Any] = Future()
        answered.set_result(replace(made, transitions=tuple(older)))
        return answered


def test_workers_of_another_version_are_refused(life: Site):
    before = results(life)
    with pytest.raises(Conflict, match="A worker analysed by version 0"):
        recompute(life, executor=OfAnotherVersion(1))
    assert results(life) == before


def test_a_rehearsal_reports_the_same_and_changes_nothing(life: Site):
    as_an_older_method_read_it(life)
    rows, stored, told = life.counts(), results(life), verdicts(life)
    reports: list[BedReport] = []
    with ThreadPoolExecutor(1) as workers:
        jobs.rehearse(means_of(life, workers), column="Plover", reason=REASON, told=reports.append)
    assert (life.counts(), results(life), verdicts(life)) == (rows, stored, told)
    (real,) = recompute(life)
    assert [one.content for one in reports] == [real.content]


def test_it_needs_a_reason_and_runs(life: Site):
    with pytest.raises(Invalid, match="A reason is missing"):
        recompute(life, reason=" ")
    with pytest.raises(Conflict, match="No run or pulse test is logged there"):
        recompute(life, column="Dotterel")


def test_an_unfinished_one_of_an_older_method_is_given_up(life: Site):
    as_an_older_method_read_it(life)
    with pytest.raises(ConnectionResetError):
        recompute(life, executor=Stops(29))
    with life.engine.begin() as connection:
        connection.execute(text("update recomputations set method_version = '1'"))
    recompute(life)
    states = {row["id"]: row["state"] for row in rows_of(life, "recomputations")}
    assert states == {1: "given up", 2: "finished"}
    counts = set(counting(life).values())
    assert {(version, order) for _, version, order in counts} == {(science.VERSION, 2)}
    page = life.visitor("viewer").page("/recomputations")
    assert "given up" in page
    assert "Not finished: its old results count as before." in life.visitor("viewer").page(
        "/recomputations/1"
    )


def rows_of(site: Site, table: str) -> list[dict[str, Any]]:
    with site.engine.connect() as connection:
        return [dict(row) for row in connection.execute(text(f"select * from {table}")).mappings()]


def test_the_pages_say_what_changed(life: Site):
    viewer = life.visitor("viewer")
    assert "No recomputation yet" in viewer.page("/recomputations")
    assert 'href="/recomputations"' in viewer.page("/records")
    as_an_older_method_read_it(life)
    recompute(life)
    page = viewer.page("/recomputations/1")
    assert REASON in page
    assert f"{HEALTHY} cycles analysed; {2 * HEALTHY} new results beside the old ones" in page
    assert f"cycle={MISREAD}" in page
    viewer.page("/recomputations/99", status=404)


def test_programs_read_what_changed(life: Site):
    recompute(life)
    headers = bearer(life.token("viewer"))
    (line,) = life.client.get("/api/v1/recomputations", headers=headers).json()
    assert (line["state"], line["beds"], line["finished"]) == ("finished", 1, 1)
    whole = life.client.get(f"/api/v1/recomputations/{line['id']}", headers=headers).json()
    assert {name: whole[name] for name in line} == line
    (changed,) = whole["reports"]
    assert changed["report"]
    assert life.client.get("/api/v1/recomputations/99", headers=headers).status_code == 404
