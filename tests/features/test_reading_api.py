"""Beds and cycles as programs read them: what is stored, in SI units, with what is marked."""

from __future__ import annotations

from typing import Any
from urllib.parse import unquote

import numpy as np
import pytest
from sqlalchemy import select, update
from tests import builders
from tests.builders import HEALTHY
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import bearer

from beadline.features.overview import service as overview
from beadline.science import metrics
from beadline.store.tables import Cycle, Transition

TAG = PLOVER.column.asset_tag
EVERY = (*metrics.TRANSITION, *metrics.CYCLE)
ADDRESS = f"/api/v1/columns/{TAG}/cycles"


def read(site: Site, path: str, status: int = 200) -> Any:
    answer = site.client.get(path, headers=bearer(site.token("viewer")))
    assert answer.status_code == status, answer.text[:1000]
    return answer.json()


def test_each_column_says_how_its_bed_stands(life: Site):
    beds = {bed["name"]: bed for bed in read(life, "/api/v1/columns")["columns"]}
    assert list(beds) == ["Dotterel", "Plover"]
    plover = beds["Plover"]
    assert (plover["column"], plover["packing"], plover["cycles"]) == (TAG, 1, HEALTHY)
    assert plover["alert"] is None
    assert plover["transition"] == "wash to strip"
    hetp = plover["limits"]["wash to strip/hetp_moments"]
    assert hetp["unit"] == "m"
    assert plover["hetp_m"] < hetp["alert"][1] < hetp["action"][1]
    assert {key.rpartition("/")[2] for key in plover["limits"]} <= {m.name for m in EVERY}
    assert hetp["alert"][0] is None  # a bed does not get worse by a lower HETP
    assert beds["Dotterel"]["drift"] is None
    assert beds["Dotterel"]["limits"] == {}


def test_a_standing_alert_is_named_with_its_bed(life: Site):
    credentials = bearer(life.token("operator"))
    replies = [
        life.post_run(builders.make_cycle_file(PLOVER, number), credentials=credentials).json()
        for number in range(HEALTHY + 1, HEALTHY + 4)
    ]
    raised = next(reply["alert"] for reply in replies if reply["alert"])
    bed = next(bed for bed in read(life, "/api/v1/columns")["columns"] if bed["column"] == TAG)
    assert bed["alert"]["id"] == raised["id"] == replies[-1]["open_alert"]["id"]
    assert replies[0]["open_alert"] is None
    assert bed["condition"] in ("drifting", "degraded", "not qualified")


def test_every_stored_number_of_every_cycle_is_given_as_it_is_stored(life: Site):
    reply = read(life, ADDRESS)
    assert [one["cycle"] for one in reply["cycles"]] == list(range(1, HEALTHY + 1))
    assert (reply["page"], reply["pages"], reply["column"]) == (1, 1, TAG)
    with life.writing() as session:
        rows = session.scalars(select(Transition).where(Transition.superseded.is_(False))).all()
        stored = {(row.cycle_id, row.name): row.estimates for row in rows}
    given = {
        (cycle["id"], one["name"]): {name: [q["value"], q["u"]] for name, q in one["results"].items()}
        for cycle in reply["cycles"]
        for one in cycle["transitions"]
    }
    assert given == stored
    assert len(given) == 2 * HEALTHY


@pytest.mark.parametrize("metric", EVERY, ids=lambda metric: metric.name)
def test_the_unit_that_is_given_is_the_one_of_the_stored_value(metric: metrics.Metric):
    """A number is shown in its own unit exactly where the screen does not multiply it."""
    unit = overview.stored_unit(metric.name, "conductivity")
    scaled = {"cm": "m", "bar": "Pa", "L/h": "m3/s", "% of step": "1"}
    assert (metric.unit in scaled) == (metric.factor != 1.0)
    assert unit == scaled.get(metric.unit, unit)
    assert unit not in ("cm", "bar", "L/h", "% of step", "signal", "")


def test_excluded_and_voided_cycles_are_marked_and_pages_hold_a_hundred(life: Site):
    engineer = life.visitor("engineer")
    first, second = (one["id"] for one in read(life, ADDRESS)["cycles"][:2])
    engineer.send(f"/cycles/{first}/exclude", {"reason": "Probe was swapped."})
    engineer.send(f"/cycles/{second}/void", {"reason": "Wrong column."})
    cycles = read(life, ADDRESS)["cycles"]
    assert (cycles[0]["excluded"], cycles[0]["excluded_reason"]) == (True, "Probe was swapped.")
    assert cycles[0]["verdict"] == "excluded"
    assert (cycles[1]["voided"], cycles[1]["void_reason"], cycles[1]["verdict"]) == (
        True,
        "Wrong column.",
        None,
    )
    assert not cycles[2]["excluded"] and not cycles[2]["voided"]
    assert read(life, f"{ADDRESS}?page=2")["cycles"] == []
    assert read(life, f"{ADDRESS}/2")["void_reason"] == "Wrong column."


def test_the_reply_to_a_run_tells_the_doubts_that_are_stored(life: Site):
    file = builders.make_cycle_file(PLOVER, HEALTHY + 1)
    reply = life.post_run(file, credentials=bearer(life.token("operator"))).json()
    stored = [
        f"{one['name']}: {doubt['sentence']}"
        for one in read(life, f"{ADDRESS}/{HEALTHY + 1}")["transitions"]
        for doubt in one["doubts"]
    ]
    assert reply["doubts"] == stored


def test_one_cycle_tells_its_doubts_and_why_numbers_are_withheld(life: Site):
    doubt = {"code": "slope", "sentence": "The plateaus slope."}
    with life.writing() as session:
        cycle = session.scalars(select(Cycle).where(Cycle.number == 2)).one()
        session.execute(update(Transition).where(Transition.cycle_id == cycle.id).values(doubts=[doubt]))
    reply = read(life, f"{ADDRESS}/2")
    one = reply["transitions"][0]
    assert one["doubts"] == [doubt]
    assert one["withheld"]["difference_from_reference"] == "There is no reference curve yet."
    assert (one["method"], one["method_version"]) == ("fitted_front_with_remainder", "4")
    assert life.visitor("viewer").get(one["working"]).status_code == 200
    assert unquote(one["working"]).endswith(f"{one['name']}?packing={reply['packing_id']}")
    trace = life.visitor("viewer").get(reply["trace"])
    assert trace.headers["x-content-sha256"] == reply["trace_sha256"]


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/api/v1/columns/none/cycles", 404),
        (f"{ADDRESS}?packing=99", 404),
        (f"{ADDRESS}/999", 404),
        (f"{ADDRESS}?page=0", 422),
        (f"{ADDRESS}/none", 404),
    ],
)
def test_what_can_not_be_given_is_refused_as_problem_details(site: Site, path: str, status: int):
    answer = site.client.get(path, headers=bearer(site.token("viewer")))
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
    assert answer.json()["status"] == status


def test_the_addresses_are_documented(site: Site):
    paths = read(site, "/api/v1/openapi.json")["paths"]
    for path in ("", "/{tag}/cycles", "/{tag}/cycles/{number}"):
        assert paths[f"/api/v1/columns{path}"]["get"]["description"]


def test_a_bed_without_a_run_has_an_empty_list(site: Site):
    assert read(site, f"/api/v1/columns/{DOTTEREL.column.asset_tag}/cycles")["cycles"] == []


def test_a_bed_is_told_with_its_baseline_and_what_is_foreseen(life: Site):
    told = read(life, f"/api/v1/columns/{TAG}")
    assert told["baseline_cycles"] == list(range(1, 16))  # the first 15 usable ones
    assert {one["key"] for one in told["outlook"]} >= {"wash to strip/hetp_moments", "pressure_drop_pa"}
    assert {one["trend"] for one in told["outlook"]}
    assert read(life, "/api/v1/columns/none such", 404)["mend"]


def test_a_transition_is_told_with_how_its_numbers_came_about(life: Site):
    whole = read(life, f"{ADDRESS}/3/transitions/wash to strip")
    line = next(one for one in read(life, f"{ADDRESS}/3")["transitions"] if one["name"] == "wash to strip")
    assert {name: whole[name] for name in line} == line
    volume, density = np.array(whole["volume_cv"]), np.array(whole["density_per_cv"])
    # the mean of a step's derivative is its mean breakthrough (definition of the first moment)
    mean = np.trapezoid(volume * density, volume) / np.trapezoid(density, volume)
    assert mean == pytest.approx(whole["results"]["mean_cv"]["value"], rel=0.01)
    assert whole["intermediate"]["apex_cv"] == pytest.approx(volume[np.argmax(density)], abs=0.02)
    assert read(life, f"{ADDRESS}/3/transitions/none", 404)["mend"]
