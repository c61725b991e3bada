"""Alerts outlive a change of the statistics: number, comments and evidence stay with their event."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.accounts import queries as account_queries
from beadline.features.cycles import queries as cycle_queries
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.packings import service as packings
from beadline.features.transitions import queries as transition_queries
from beadline.kit import clock
from beadline.science.drift import FixedLimits, Settings
from beadline.store.tables import Baseline

pytestmark = pytest.mark.every_dialect

SAID = ("id", "level", "since_cycle", "headline", "sentence", "evidence", "causes", "score", "raised_at")


def post(site: Site, number: int) -> dict[str, Any]:
    file = builders.make_cycle_file(PLOVER, number)
    answer = site.post_run(file, credentials=bearer(site.token("operator")), number=str(number))
    assert answer.status_code == 201, answer.text
    return answer.json()


def alerts_of(site: Site) -> list[dict[str, Any]]:
    with site.engine.connect() as connection:
        return [
            dict(row) for row in connection.exec_driver_sql("select * from alerts order by id").mappings()
        ]


def a_limit_passed_early(site: Site) -> tuple[str, FixedLimits]:
    """A key whose greatest value in the healthy cycles is among the first eight, and a limit below it."""
    with site.writing() as session:
        rows: dict[int, list[Any]] = {}
        for row in transition_queries.of_packing(session, 1):
            rows.setdefault(row.cycle_id, []).append(row)
        cycles = [c for c in cycle_queries.of_packing(session, 1) if c.number <= HEALTHY]
        read = [drift.stored_reading(cycle, rows[cycle.id]) for cycle in cycles]
        for key in sorted(read[0].values):
            values = sorted(((r.values[key].value, r.cycle) for r in read), reverse=True)
            if values[0][1] <= 8:
                return key, FixedLimits(alert_high=(values[0][0] + values[1][0]) / 2)
    raise AssertionError("no key has its greatest value early")


def watch_otherwise(site: Site, settings: Settings, *, later: int = 1) -> None:
    """Judge the life anew under a new version of the baseline."""
    with site.writing() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        now = clock.now() + timedelta(seconds=later)
        session.add(
            Baseline(
                packing_id=1,
                version=1 + later,
                settings=settings.to_dict(),
                made_at=now,
                made_by_id=engineer.id,
                reason="A test",
            )
        )
        intake.judge_anew(session, packings.get(session, 1), by=engineer, at=now)


def test_an_event_found_before_it_takes_no_alert_over(life: Site):
    for number in (HEALTHY + 1, HEALTHY + 2):
        post(life, number)
    life.visitor("quality").post("/alerts/1", {"step": "acknowledge", "comment": "Seen."})
    before = alerts_of(life)[0]
    key, limit = a_limit_passed_early(life)
    watch_otherwise(life, Settings(fixed_limits={key: limit}))
    first, second = alerts_of(life)
    assert {name: first[name] for name in SAID} == {name: before[name] for name in SAID}
    assert (first["status"], first["episode"]) == ("acknowledged", 2)
    assert (second["episode"], bool(second["returned"])) == (1, True)
    assert "set by procedure" in second["sentence"]
    post(life, HEALTHY + 3)
    assert len(alerts_of(life)) == 2
    assert alerts_of(life)[0]["latest_cycle_id"] > before["latest_cycle_id"]


def test_an_alert_whose_event_is_gone_stays_and_gets_its_event_back(life: Site):
    for number in (HEALTHY + 1, HEALTHY + 2):
        post(life, number)
    life.visitor("quality").post("/alerts/1", {"step": "acknowledge", "comment": "Seen."})
    before = alerts_of(life)[0]
    whole = Settings()
    watch_otherwise(life, replace(whole, baseline_start=HEALTHY))  # the bed is learning still
    (gone,) = alerts_of(life)
    assert {name: gone[name] for name in SAID} == {name: before[name] for name in SAID}
    assert (gone["status"], bool(gone["returned"])) == ("acknowledged", True)
    watch_otherwise(life, whole, later=2)
    (back,) = alerts_of(life)
    assert {name: back[name] for name in SAID} == {name: before[name] for name in SAID}
    assert (back["status"], bool(back["returned"]), back["episode"]) == ("acknowledged", False, 1)
