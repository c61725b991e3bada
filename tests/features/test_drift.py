"""Drift: judging cycle by cycle from the stored state equals judging the whole life anew, in any order."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from sqlalchemy.orm import Session
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.accounts import queries as account_queries
from beadline.features.drift import queries
from beadline.features.drift import service as drift
from beadline.features.intake import service as intake
from beadline.features.packings import service as packings
from beadline.kit import clock

pytestmark = pytest.mark.every_dialect

LIFE = HEALTHY + 4


def snapshot(site: Site) -> dict[str, Any]:
    """All that is stored of the verdicts and the standing of Plover, times left out."""
    with site.writing() as session:
        standing = queries.bed_state_to_go_on(session, 1)
        assert standing is not None
        names = (
            "condition",
            "drift",
            "cycles",
            "last_cycle",
            "sentence",
            "beads",
            "latest",
            "limits",
            "state",
        )
        rows = session.connection().exec_driver_sql(
            "select number, verdict, condition, drift, charts, not_the_bed from judgements "
            "join cycles on cycles.id = judgements.cycle_id where packing_id = 1 order by number"
        )
        return {name: getattr(standing, name) for name in names} | {"judgements": [tuple(r) for r in rows]}


def post(site: Site, numbers: list[int]) -> list[dict[str, Any]]:
    credentials = bearer(site.token("operator"))
    replies = []
    for number in numbers:
        file = builders.make_cycle_file(PLOVER, number)
        answer = site.post_run(file, credentials=credentials, number=str(number))
        assert answer.status_code == 201, answer.text
        replies.append(answer.json())
    return replies


def alert_of(site: Site) -> dict[str, Any]:
    with site.engine.connect() as connection:
        row = dict(connection.exec_driver_sql("select * from alerts").mappings().one())
    return row | {"returned": bool(row["returned"])}


def judge_anew(site: Site) -> None:
    with site.writing() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        intake.judge_anew(session, packings.get(session, 1), by=engineer, at=clock.now())


def test_cycle_by_cycle_equals_the_whole_life_anew(life: Site):
    post(life, list(range(HEALTHY + 1, LIFE + 1)))
    one_by_one = snapshot(life)
    judge_anew(life)
    assert snapshot(life) == one_by_one
    assert one_by_one["cycles"] == LIFE


def test_a_state_that_another_version_stored_is_replayed_and_its_verdicts_stay(life: Site):
    post(life, [HEALTHY + 1])
    with life.writing() as session:
        standing = queries.bed_state_to_go_on(session, 1)
        assert standing is not None
        standing.state = {"version": "1", **{name: standing.state[name] for name in ("settings", "prior")}}
        judgement = queries.of_packing(session, 1)
        judgement[min(judgement)].verdict = "past alert limit"
    post(life, [HEALTHY + 2])
    found = snapshot(life)
    assert found["judgements"][0][1] == "past alert limit"
    judge_anew(life)
    anew = snapshot(life)
    assert anew["judgements"][1:] == found["judgements"][1:]
    assert anew["state"] == found["state"]


def test_a_late_cycle_has_the_life_judged_as_if_it_had_come_in_time(life: Site):
    post(life, [HEALTHY + 1, HEALTHY + 3])
    late = post(life, [HEALTHY + 2])[0]
    in_time = snapshot(life)
    judge_anew(life)
    assert snapshot(life) == in_time
    assert [row[0] for row in in_time["judgements"]] == list(range(1, HEALTHY + 4))
    assert late["cycle"] == HEALTHY + 2
    assert late["verdict"] == "past action limit"
    assert late["alert"] is None  # that of the later cycle tells of it, and is told once
    assert alert_of(life)["since_cycle"] == HEALTHY + 1


def test_judging_anew_adds_no_row_and_no_alert(life: Site):
    post(life, list(range(HEALTHY + 1, LIFE + 1)))
    before = life.counts()
    life.visitor("quality").post("/alerts/1", {"step": "acknowledge", "comment": "Seen."})
    acknowledged = alert_of(life)
    after = life.counts()
    for _ in range(2):
        judge_anew(life)
    assert life.counts() == after
    assert alert_of(life) == acknowledged
    assert (acknowledged["status"], acknowledged["returned"]) == ("acknowledged", False)
    assert before["alerts"] == after["alerts"] == 1


def test_a_replay_raises_what_cycle_by_cycle_would_have_raised(life: Site):
    post(life, list(range(HEALTHY + 1, LIFE + 1)))
    first = alert_of(life)
    with life.engine.begin() as connection:
        connection.exec_driver_sql("delete from alert_events")
        connection.exec_driver_sql("delete from alerts")
    judge_anew(life)
    again = alert_of(life)
    same = ("episode", "level", "since_cycle", "headline", "sentence", "evidence", "causes", "score")
    assert {name: again[name] for name in same} == {name: first[name] for name in same}


def test_the_baseline_is_learnt_then_kept(life: Site):
    with life.writing() as session:
        standing = queries.bed_state_to_go_on(session, 1)
        learnt = drift.baseline_cycles(standing)
        settings = queries.baseline(session, 1)
        assert settings is not None
        assert (settings.version, settings.reason) == (1, "Shipped defaults")
        assert len(learnt) >= settings.settings["baseline_cycles"]
        assert set(learnt) <= set(range(1, HEALTHY + 1))


def test_a_run_that_is_not_usable_leaves_a_gap_and_no_verdict_on_the_bed(life: Site):
    before = snapshot(life)
    lines = builders.make_cycle_file(PLOVER, 1).content.decode().splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("Volume"))
    broken = np.random.default_rng(1).normal(4.0, 1.0, len(lines))  # the probe reads nothing but noise
    rows = [
        ",".join([volume, f"{noise:.3f}", rest])
        for noise, line in zip(broken, lines[head + 1 :], strict=False)
        for volume, _, rest in [line.split(",", 2)]
    ]
    content = "\n".join([*lines[: head + 1], *rows]).encode()
    answer = life.post_run(("noise.csv", content), credentials=bearer(life.token("operator")))
    reply = answer.json()
    assert (answer.status_code, reply["verdict"], reply["drift"]) == (201, "not usable", None)
    assert reply["condition"] == "in control"
    after = snapshot(life)
    assert after["beads"][-1] == [HEALTHY + 1, None, drift.KIND_OF_VERDICT["not usable"]]
    assert after["latest"] == before["latest"]
    healthy = post(life, [HEALTHY + 2])  # of the cracked bed: the crack is still told
    assert healthy[0]["verdict"] == "past action limit"


def test_looking_at_a_run_foresees_the_verdict_that_logging_gives(life: Site):
    file = builders.make_cycle_file(PLOVER, HEALTHY + 1)
    with Session(life.engine) as session:
        packing = packings.get(session, 1)
        seen, _ = intake.look(session, packing, file.content, filename=file.filename, at=clock.now())
        assert not session.new
        assert not session.dirty
    before = life.counts()
    reply = post(life, [HEALTHY + 1])[0]
    assert seen.verdict == reply["verdict"]
    assert seen.number == reply["cycle"]
    assert seen.sha256 == reply["trace_sha256"]
    assert life.counts()["cycles"] == before["cycles"] + 1


@pytest.mark.parametrize("skip", [3, 20])
def test_a_missing_number_does_not_stop_the_charts(life: Site, skip: int):
    reply = post(life, [HEALTHY + skip])[0]
    assert reply["condition"] in ("in control", "drifting")
