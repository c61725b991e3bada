"""The page that shows how a stored number came about: its formula, from the numbers on it, gives it."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from sqlalchemy import text
from tests.sites import PLOVER, Site

from beadline.science import metrics
from beadline.science.transition.formulas import FORMULAS

PLACE = f"/columns/{PLOVER.column.asset_tag}/cycles/3"


def chart_of(page: str) -> dict:
    found = re.search(
        r'data-module="working".*?<script type="application/json">(.*?)</script>', page, re.DOTALL
    )
    assert found
    return json.loads(found[1])


def number_of(page: str, label: str) -> float:
    found = re.search(
        rf'<th scope="row" class="wide">{re.escape(label)}.*?<td class="number"[^>]*>([\d.,−-]+)',
        page,
        re.DOTALL,
    )
    assert found, label
    return float(found[1].replace("−", "-"))


def workings(life: Site) -> list[str]:
    fragment = life.visitor("viewer").page(PLACE)
    return [
        found.replace("&amp;", "&")
        for found in re.findall(r'href="(/columns/[^"]*/transitions/[^"]*)"', fragment)
    ]


def test_every_metric_has_a_formula_and_a_source():
    assert set(FORMULAS) == {metric.name for metric in metrics.TRANSITION}
    assert all(formula.formula and formula.source for formula in FORMULAS.values())


def test_each_transition_of_a_cycle_leads_to_its_working(life: Site):
    visitor, places = life.visitor("viewer"), workings(life)
    assert len(places) == 2
    for place in places:
        page = visitor.page(place)
        assert "checked just now" in page
        assert "Levenspiel" in page


def test_the_formulas_give_the_numbers(life: Site):
    """Moments by numpy's own trapezoid rule over the curve on the page; Levenspiel, chapter 13."""
    page = life.visitor("viewer").page(workings(life)[0])
    chart = chart_of(page)
    grid, density = np.array(chart["grid"]), np.array(chart["density"])
    area = np.trapezoid(density, grid)
    mean = np.trapezoid(grid * density, grid) / area
    variance = np.trapezoid((grid - mean) ** 2 * density, grid) / area
    height_cm = PLOVER.bed_height_mm / 10
    assert number_of(page, "Mean breakthrough") == pytest.approx(mean, rel=0.005)
    assert number_of(page, "HETP from moments") == pytest.approx(height_cm * variance / mean**2, rel=0.1)
    (a, b), apex = (ruler["line"] for ruler in chart["rulers"]), chart["apex"]
    assert a[2] == b[0] == apex[0]
    assert number_of(page, "Asymmetry at 10 %") == pytest.approx((b[2] - b[0]) / (a[2] - a[0]), rel=0.01)
    tenth = np.interp([a[0], b[2]], grid, density)
    assert tenth == pytest.approx([0.1 * apex[1]] * 2, rel=0.15)


def test_the_signal_is_that_of_the_file_and_the_plateaus_lie_on_it(life: Site):
    chart = chart_of(life.visitor("viewer").page(workings(life)[0]))
    signal = np.array(chart["signal"])
    (before, after), step = chart["plateaus"], signal[-1] - signal[0]
    assert before[1] == pytest.approx(signal[:20].mean(), abs=0.02 * abs(step))
    assert after[3] == pytest.approx(signal[-20:].mean(), abs=0.02 * abs(step))


def test_a_harmed_trace_is_said_and_the_numbers_still_stand(life: Site):
    with life.engine.begin() as connection:
        connection.execute(text("update traces set content = (select content from traces where id = 9)"))
    page = life.visitor("viewer").page(workings(life)[0])
    assert "not those that were received" in page
    assert "HETP from moments" in page


@pytest.mark.parametrize(
    "place", [f"{PLACE}/transitions/none", f"/columns/{PLOVER.column.asset_tag}/cycles/999/transitions/x"]
)
def test_what_does_not_exist_is_said(life: Site, place: str):
    assert "Open it from the cycle" in life.visitor("viewer").page(place, 404)
