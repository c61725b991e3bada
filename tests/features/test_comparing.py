"""Cycles side by side, and a bed beside another of its column or its resin."""

from __future__ import annotations

import csv
import json
from html import unescape
from io import StringIO

import pytest
from tests.sites import PLOVER, Site

TAG = PLOVER.column.asset_tag


def column(site: Site, query: str, status: int = 200) -> str:
    return unescape(site.visitor("viewer").page(f"/columns/{TAG}?packing=1{query}", status))


def test_selected_cycles_stand_side_by_side_with_their_curves(life: Site):
    page = column(life, "&cycle=5&with=3~9~3~77")
    assert "Side by side" in page
    heads = page.split("Side by side")[1].split("</tr>")[0]
    assert [n for n in (3, 5, 9, 77) if f">Cycle {n}<" in heads] == [3, 5, 9]
    assert '"label":"cycle 3"' in page
    assert "Fraction, cycle 9" in page


def test_the_curves_that_are_drawn_are_the_ones_in_the_csv(life: Site):
    page = column(life, "&cycle=5&with=3~9&transition=wash to strip")
    address = page.split("These curves as CSV")[0].rsplit('href="', 1)[1].split('"')[0]
    rows = list(csv.DictReader(StringIO(life.visitor("viewer").page(address))))
    drawn = json.loads(page.split('data-module="curve"')[1].split('json">')[1].split("</script>")[0])
    own = [row for row in rows if row["transition"] == "wash to strip"]
    assert {row["cycle"] for row in rows} == {"5"}
    for name, line in (
        ("volume_cv", drawn["grid"]),
        ("fraction", drawn["fraction"]),
        ("baseline_to", drawn["high"]),
        ("slope_per_cv", drawn["density"]),
        ("slope_per_cv of cycle 9", drawn["beside"][1]["density"]),
    ):
        assert [float(row[name]) for row in own] == pytest.approx(line, rel=1e-3, abs=1e-3), name
    assert {row["transition"] for row in rows} == {"wash to strip", "strip to rinse"}


def test_one_cycle_stands_alone(life: Site):
    page = column(life, "&cycle=5&with=")
    assert "Side by side" not in page
    assert '"beside":[]' in page


def test_a_bed_of_the_same_resin_can_stand_beside_it(life: Site):
    page = column(life, "")
    choices = page.split('name="beside"')[1].split("</select>")[0]
    offered = [part.split('"')[0] for part in choices.split('value="')[1:]]
    assert "1" not in offered
    other = next(one for one in offered if one)
    page = column(life, f"&beside={other}")
    assert '"compared":{"label":' in page
    assert f"beside={other}" in page.split("All results as CSV")[0].rsplit("<a", 1)[1]
    table = life.visitor("viewer").page(f"/columns/{TAG}/results.csv?packing=1&beside={other}")
    assert {row["column"] for row in csv.DictReader(StringIO(table))} >= {PLOVER.column.name}


@pytest.mark.parametrize("asked", ["1", "99"])
def test_a_bed_that_is_not_alike_is_refused(life: Site, asked: str):
    assert "neither of this column nor of this resin" in column(life, f"&beside={asked}", 404)
