"""Several runs in one request: each has its answer, the life is judged once, and nothing is doubled."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import timedelta
from typing import Any

import pytest
from httpx import Response
from tests import builders
from tests.builders import HEALTHY, PACKED
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.demo.recording import TraceFile

pytestmark = pytest.mark.every_dialect
BULK = "/api/v1/runs/bulk"


def send(
    site: Site, files: Sequence[TraceFile], *, to: str = BULK, role: str = "operator", **form: Any
) -> Response:
    fields = {"column": "Plover"} | {
        name: value if isinstance(value, str) else json.dumps(value) for name, value in form.items()
    }
    parts = [("files", (file.filename, file.content)) for file in files]
    return site.client.post(to, data=fields, files=parts, headers=bearer(site.token(role)))


def files(*numbers: int) -> list[TraceFile]:
    return [builders.make_cycle_file(PLOVER, number) for number in numbers]


def values(site: Site) -> list[tuple[Any, ...]]:
    with site.writing() as session:
        found = session.connection().exec_driver_sql(
            "select c.number, c.started_at, j.verdict, j.condition, j.drift from cycles c "
            "join judgements j on j.cycle_id = c.id order by c.number"
        )
        return [tuple(row) for row in found]


def test_runs_sent_at_once_in_any_order_are_judged_as_if_sent_one_by_one(site: Site, life: Site):
    """The skid's file tells its start; the same twenty files were posted one by one to the other site."""
    order = [*range(11, HEALTHY + 1), *range(1, 11)]
    reply = send(site, files(*order)).json()
    assert (reply["recorded"], reply["refused"]) == (HEALTHY, 0)
    assert [one["run"]["cycle"] for one in reply["answers"]] == order
    assert [one["status"] for one in reply["answers"]] == [201] * HEALTHY
    assert values(site) == values(life)


def test_a_wrong_file_does_not_stop_the_others_and_leaves_nothing(site: Site):
    good, wrong = files(1, 2), TraceFile("notes.csv", b"no numbers at all")
    reply = send(site, [good[0], wrong, good[1]]).json()
    assert [one["status"] for one in reply["answers"]] == [201, 422, 201]
    problem = reply["answers"][1]["problem"]
    assert (problem["type"], problem["status"]) == ("urn:beadline:problem:no-numbers", 422)
    assert problem["mend"]
    assert (site.counts()["cycles"], site.counts()["traces"]) == (2, 2)


def test_sent_again_nothing_is_doubled(site: Site):
    send(site, files(1, 2, 3))
    before = values(site)
    again = send(site, files(1, 2, 3, 4)).json()
    assert [one["status"] for one in again["answers"]] == [200, 200, 200, 201]
    assert again["answers"][0]["run"]["already_recorded"]
    assert values(site)[:3] == before


def test_older_runs_take_the_numbers_that_are_free_before_the_recorded_ones(site: Site):
    started = (PACKED + timedelta(days=9)).isoformat()
    first = send(site, files(9), facts={"runs": [{"number": 9, "started_at": started}]}).json()
    assert first["answers"][0]["run"]["cycle"] == 9
    later = send(site, files(7, 3)).json()
    assert [one["run"]["cycle"] for one in later["answers"]] == [2, 1]
    full = send(site, files(1, 2, 4, 5, 6, 8)).json()
    assert {one["status"] for one in full["answers"]} == {201, 409}


def test_a_crack_raises_one_alert_for_the_whole_request(life: Site):
    reply = send(life, files(*range(HEALTHY + 1, HEALTHY + 5))).json()
    assert (reply["alert"]["level"], reply["alert"]["since_cycle"]) == ("action", HEALTHY + 1)
    assert life.counts()["alerts"] == 1
    assert reply["answers"][0]["run"]["verdict"] == "past action limit"


def test_a_look_tells_of_each_file_and_stores_nothing(life: Site):
    before = life.counts()
    seen = send(life, [*files(3, HEALTHY + 1), TraceFile("a.csv", b"?")], to=f"{BULK}/look").json()["answers"]
    assert [one["status"] for one in seen] == ["there already", "would be recorded", "refused"]
    assert seen[0]["cycle"] == 3
    assert seen[1]["started_at"][:10] == (PACKED + timedelta(days=HEALTHY + 1)).date().isoformat()
    assert seen[1]["usable_transitions"] == ["wash to strip", "strip to rinse"]
    after = life.counts()
    assert {name for name in after if after[name] != before[name]} <= {"api_tokens", "records"}


def test_facts_go_with_their_files(site: Site):
    facts = {"runs": [{"batch": "B-2", "note": "from the archive"}, {"batch": "B-1"}]}
    reply = send(site, files(2, 1), facts=facts, reason="Traces from before").json()
    assert [one["run"]["cycle"] for one in reply["answers"]] == [2, 1]
    cycle = site.client.get(
        f"/api/v1/columns/{PLOVER.column.asset_tag}/cycles/2", headers=bearer(site.token("viewer"))
    ).json()
    assert (cycle["batch"], cycle["note"]) == ("B-2", "from the archive")
    with site.writing() as session:
        why = (
            session.connection().exec_driver_sql("select why from records where did = 'import'").scalar_one()
        )
    assert why == "Traces from before"


@pytest.mark.parametrize(
    ("facts", "where"),
    [
        ({"runs": [{}]}, "facts"),
        ({"runs": [{"batch": 3}, {}]}, "facts.runs.0.batch"),
        ("[", "facts"),
        ({"runs": [{"started_at": "soon"}, {}]}, "started_at"),
    ],
)
def test_facts_that_do_not_fit_are_refused(site: Site, facts: Any, where: str):
    answer = send(site, files(1, 2), facts=facts)
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json")
    assert answer.json()["where"] == where
    assert site.counts()["cycles"] == 0
