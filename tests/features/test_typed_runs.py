"""Values typed by hand are judged like others and marked as typed wherever they are shown."""

from __future__ import annotations

import json
from typing import Any

import pytest
from httpx import Response
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

pytestmark = pytest.mark.every_dialect

NEXT = HEALTHY + 1
STARTED = "2025-02-01T08:00"


def post(site: Site, **typed: Any) -> Response:
    run = {"column": "Plover", "started_at": STARTED, **typed}
    return site.client.post("/api/v1/typed-runs", json=run, headers=bearer(site.token("operator")))


def usual(site: Site) -> dict[str, float]:
    """The values of the newest cycle, as a person would type them."""
    with site.writing() as session:
        rows = session.connection().exec_driver_sql(
            "select t.estimates from transitions t join cycles c on c.id = t.cycle_id "
            "where t.position = 0 order by c.number desc"
        )
        found = rows.scalars().first()
    values = json.loads(found) if isinstance(found, str) else found
    return {
        "hetp_cm": round(values["hetp_moments"][0] * 100, 4),
        "asymmetry": round(values["asymmetry"][0], 3),
        "mean_cv": round(values["mean_cv"][0], 4),
        "variance_cv2": round(values["variance_cv2"][0], 6),
    }


def test_usual_values_are_in_limits(life: Site):
    reply = post(life, **usual(life)).json()
    assert (reply["cycle"], reply["verdict"], reply["condition"]) == (NEXT, "in limits", "in control")
    assert reply["alert"] is None


def test_a_plate_height_that_doubled_is_past_its_limit(life: Site):
    values = usual(life)
    doubled = values | {"hetp_cm": values["hetp_cm"] * 2, "variance_cv2": values["variance_cv2"] * 2}
    replies = [
        post(life, **doubled, number=NEXT + late, started_at=f"2025-02-0{1 + late}T08:00").json()
        for late in range(5)  # four values tell a change later than a whole curve does
    ]
    assert {reply["verdict"] for reply in replies} == {"past action limit"}
    told = next(reply["alert"] for reply in replies if reply["alert"])
    assert (told["level"], told["since_cycle"]) == ("action", NEXT)
    assert "HETP" in told["headline"]
    assert life.counts()["alerts"] == 1


def test_they_are_marked_as_typed_everywhere(life: Site):
    post(life, **usual(life))
    viewer = life.visitor("viewer")
    page = viewer.get(f"/columns/{PLOVER.column.asset_tag}?cycle={NEXT}").text
    assert "Typed by hand, without a trace." in page
    assert "in limits, typed by hand" in page
    assert "How it was computed" not in page
    working = viewer.get(f"/columns/{PLOVER.column.asset_tag}/cycles/{NEXT}/transitions/wash%20to%20strip")
    assert working.status_code == 404
    assert "were typed by hand" in working.text
    rows = viewer.get(f"/columns/{PLOVER.column.asset_tag}/results.csv").text.splitlines()
    place = rows[0].split(",").index("values_from")
    assert rows[-1].split(",")[place] == "typed by hand"
    assert {row.split(",")[place] for row in rows[1:-1]} == {"trace"}


def test_the_life_is_judged_the_same_when_judged_anew(life: Site):
    values, credentials = usual(life), bearer(life.token("operator"))
    first = post(life, **values).json()
    later = life.post_run(builders.make_cycle_file(PLOVER, NEXT + 1), credentials=credentials)
    assert later.status_code == 201
    with life.writing() as session:
        cycle = session.connection().exec_driver_sql("select max(id) from cycles").scalar_one()
    engineer = life.visitor("engineer")
    assert engineer.post(f"/cycles/{cycle}/void", {"reason": "wrong file"}).status_code == 303
    again = post(life, **values).json()
    assert again["already_recorded"]
    assert (again["verdict"], again["drift"]) == (first["verdict"], first["drift"])


def test_a_trace_after_them_is_read_as_the_last_trace_was(life: Site):
    post(life, **usual(life))
    file = builders.make_cycle_file(PLOVER, NEXT + 1)
    seen = life.visitor("operator").post(
        "/log-a-run/look", {"packing": "1"}, file=(file.filename, file.content)
    )
    assert "Read by the reading profile" in seen.text  # the one that the newest run with a trace was read by


def test_the_same_values_twice_are_recorded_once(life: Site):
    first, second = post(life, asymmetry=1.2), post(life, asymmetry=1.2)
    assert (first.status_code, second.status_code) == (201, 200)
    assert second.json()["cycle"] == first.json()["cycle"]


def test_a_bed_may_begin_with_typed_values(site: Site):
    for day in range(1, 21):
        values = {"asymmetry": 1.2 + day % 3 / 100, "hetp_cm": 0.03 + day % 4 / 1000}
        answer = post(site, **values, started_at=f"2025-02-{day:02d}T08:00")
        assert answer.status_code == 201, answer.text
    assert answer.json()["condition"] == "in control"
    assert site.visitor("viewer").get(f"/columns/{PLOVER.column.asset_tag}").status_code == 200
    traced = site.post_run(builders.make_cycle_file(PLOVER, 30), credentials=bearer(site.token("operator")))
    assert traced.status_code == 201, traced.text
    assert site.visitor("viewer").get(f"/columns/{PLOVER.column.asset_tag}").status_code == 200


@pytest.mark.parametrize(
    ("typed", "where", "said"),
    [
        ({}, "hetp_cm", "No value"),
        ({"pressure_drop_bar": 50}, "hetp_cm", "No value"),
        ({"hetp_cm": 25}, "hetp_cm", "height of the bed, 20.0 cm"),
        ({"hetp_cm": -1}, "hetp_cm", "can't be"),
        ({"asymmetry": 0}, "asymmetry", "0.1 to 20"),
        ({"asymmetry": 1.1, "pressure_drop_bar": 1e6}, "pressure_drop_bar", "100 bar"),
        ({"asymmetry": 1.1, "started_at": ""}, "started_at", "start is missing"),
        ({"asymmetry": 1.1, "started_at": "2099-01-01T00:00"}, "started_at", "still to come"),
        ({"asymmetry": "wide"}, "asymmetry", "must be a number, and “wide” is not"),
        ({"asymetry": 1.1}, "asymetry", "asymetry"),
        ({"asymmetry": 1.1, "number": 7}, "number", "recorded already"),
    ],
)
def test_what_can_not_be_is_refused_and_leaves_nothing(
    life: Site, typed: dict[str, Any], where: str, said: str
):
    credentials = bearer(life.token("operator"))
    before = life.counts()
    run = {"column": "Plover", "started_at": STARTED, **typed}
    answer = life.client.post("/api/v1/typed-runs", json=run, headers=credentials)
    assert answer.status_code in (409, 422), answer.text
    assert answer.json()["where"] == where
    assert said in answer.json()["detail"]
    assert life.counts() == before


def test_a_plate_height_that_does_not_go_with_the_moments_is_doubted(life: Site):
    """Bed height 20 cm, mean 0.9 CV, variance 0.0009 CV²: 20 x 0.0009 / 0.81 = 0.0222 cm."""
    post(life, hetp_cm=0.0444, mean_cv=0.9, variance_cv2=0.0009)
    page = life.visitor("viewer").get(f"/columns/{PLOVER.column.asset_tag}?cycle={NEXT}").text
    assert "does not go with mean and variance, which give 0.0222 cm" in page


def test_a_pressure_is_stored_in_pascal(life: Site):
    post(life, asymmetry=1.2, pressure_drop_bar=0.6)
    page = life.visitor("viewer").get(f"/columns/{PLOVER.column.asset_tag}?cycle={NEXT}").text
    assert "0.600" in page  # bar, as the page writes it
    with life.writing() as session:
        found = session.connection().exec_driver_sql("select conditions from cycles order by id desc")
        stored = found.scalars().first()
    conditions = json.loads(stored) if isinstance(stored, str) else stored
    assert conditions["pressure_drop_pa"] == [pytest.approx(60_000), 0.0]


def test_the_page_records_them_and_keeps_what_was_typed_when_refused(life: Site):
    operator = life.visitor("operator")
    form = {"packing": "1", "started_at": STARTED, "hetp_cm": "0,03", "asymmetry": "wide"}
    refused = operator.post("/log-a-run/typed", form)
    assert refused.status_code == 422
    assert 'value="0,03"' in refused.text
    recorded = operator.post("/log-a-run/typed", form | {"asymmetry": "1,2"})
    assert recorded.status_code == 303
    assert recorded.headers["location"].endswith(f"cycle={NEXT}")
    assert 'href="/log-a-run/typed/new"' in operator.get("/log-a-run").text
    assert "Type the values of a run" in operator.page("/log-a-run/typed/new")
