"""A unit that is wrong by a thousand is named, and mended on the page."""

from __future__ import annotations

import pytest
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

FILE = builders.make_cycle_file(PLOVER, 1)
assert b"Volume [mL]" in FILE.content


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        (b"L", "1000 times too much: it looks like mL labelled as L."),
        ("µL".encode(), "Its unit was read as µL"),
        ("m³".encode(), "Its unit was read as m³"),
    ],
)
def test_a_wrong_unit_is_named_with_its_column(site: Site, unit: bytes, said: str):
    content = FILE.content.replace(b"Volume [mL]", b"Volume [" + unit + b"]")
    credentials = bearer(site.token("operator"))
    before = site.counts()
    answer = site.post_run(("run.csv", content), credentials=credentials)
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (422, "implausible-volume")
    assert said in problem["title"]
    assert "of this bed (1.57 L)" in problem["title"]
    assert problem["where"] == f"column 1 “Volume [{unit.decode()}]”"
    assert site.counts() == before


def test_the_unit_is_mended_on_the_page(site: Site):
    content = FILE.content.replace(b"Volume [mL]", b"Volume [L]")
    operator = site.visitor("operator")
    form = {"packing": "1"}
    refused = operator.post("/log-a-run/look", form, file=("run.csv", content))
    assert refused.status_code == 422
    assert 'name="column_0_unit"' in refused.text
    mended = operator.post("/log-a-run/look", form | {"column_0_unit": "mL"}, file=("run.csv", content))
    assert mended.status_code == 200


def test_a_flow_that_is_wrong_by_a_thousand_is_named(site: Site):
    """2.6 L/min for 40 minutes is 66 bed volumes; in mL/min it would not fill the bed once."""
    rows = [f"{at / 10},2.6,{2 + (at > 200) * 8 + at % 3 / 100}" for at in range(400)]
    content = "\n".join(["Time (min),Flow (mL/min),Cond (mS/cm)", *rows]).encode()
    problem = site.post_run(("run.csv", content), credentials=bearer(site.token("operator"))).json()
    assert "1000 times too little: it looks like L/min labelled as mL/min." in problem["title"]
    assert "“Flow (mL/min)”" in problem["where"]
