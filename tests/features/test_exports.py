"""Series and traces in formats that other programs read, each number as it is stored."""

from __future__ import annotations

import io
import json
from typing import Any

import numpy as np
import pandas as pd
import pyarrow.parquet
import pytest
from httpx import Response
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

TAG = PLOVER.column.asset_tag
SERIES, TRACE = f"/api/v1/columns/{TAG}/series", f"/api/v1/columns/{TAG}/cycles/3/trace"


def ask(site: Site, path: str, *, accept: str = "", **query: str) -> Response:
    headers = bearer(site.token("viewer")) | ({"Accept": accept} if accept else {})
    return site.client.get(path, params=query, headers=headers)


def frame(answer: Response) -> pd.DataFrame:
    assert answer.status_code == 200, answer.text
    kind = answer.headers["content-type"].partition(";")[0]
    if kind == "application/jsonl":
        return pd.read_json(io.BytesIO(answer.content), lines=True, convert_dates=False)
    if kind == "text/csv":
        return pd.read_csv(io.BytesIO(answer.content), keep_default_na=True)
    assert kind == "application/vnd.apache.parquet"
    return pd.read_parquet(io.BytesIO(answer.content))


@pytest.mark.parametrize("form", ["csv", "parquet", "jsonl"])
def test_every_format_holds_the_numbers_that_the_cycles_have(life: Site, form: str):
    table = frame(ask(life, SERIES, format=form))
    reply = ask(life, f"/api/v1/columns/{TAG}/cycles").json()
    told = {
        (cycle["cycle"], one["name"], metric): (number["value"], number["u"], number["unit"])
        for cycle in reply["cycles"]
        for one in cycle["transitions"]
        for metric, number in one["results"].items()
    }
    of_transitions = table[table.transition.fillna("") != ""]
    assert len(of_transitions) == len(told)
    for row in of_transitions.itertuples():
        value, u, unit = told[row.cycle, row.transition, row.metric]
        assert (row.value, row.unit) == (pytest.approx(value, rel=1e-12), unit)
        assert (None if pd.isna(row.u) else row.u) == (None if u is None else pytest.approx(u, rel=1e-12))
    assert set(table.values_from) == {"trace"}
    assert pd.to_datetime(table.started_at, utc=True).dt.year.eq(2025).all()


@pytest.mark.parametrize(
    ("accept", "kind"),
    [
        ("", "text/csv"),
        ("*/*", "text/csv"),
        ("application/vnd.apache.parquet", "application/vnd.apache.parquet"),
        ("application/x-ndjson, text/csv;q=0.5", "application/jsonl"),
    ],
)
def test_the_header_accept_chooses_the_format(life: Site, accept: str, kind: str):
    answer = ask(life, SERIES, accept=accept)
    assert answer.headers["content-type"].partition(";")[0] == kind
    assert "attachment" in answer.headers["content-disposition"]


def test_a_format_that_is_not_made_is_refused(life: Site):
    refused = ask(life, SERIES, accept="image/png")
    assert (refused.status_code, refused.json()["code"]) == (406, "not-acceptable")
    assert ask(life, SERIES, format="xml").status_code == 422
    assert ask(life, f"/api/v1/columns/{TAG}/cycles/99/trace").status_code == 404


@pytest.mark.parametrize("form", ["csv", "parquet", "jsonl"])
def test_a_trace_holds_the_readings_of_its_file(life: Site, form: str):
    """The builder's skid writes volume in mL below five lines; pandas reads the same file by itself."""
    table = frame(ask(life, TRACE, format=form))
    written = pd.read_csv(io.BytesIO(builders.make_cycle_file(PLOVER, 3).content), skiprows=5)
    assert len(written) > 100
    for quantity, header, unit, factor in (
        ("conductivity", "Conductivity [mS/cm]", "mS/cm", 1.0),
        ("pressure", "Pressure before column [bar]", "Pa", 1e5),
    ):
        signal = table[table.signal == header]
        assert set(zip(signal.quantity, signal.unit, strict=True)) == {(quantity, unit)}
        assert np.allclose(signal.volume_m3, written["Volume [mL]"] * 1e-6)
        assert np.allclose(signal.value, written[header] * factor)


def test_text_that_a_spreadsheet_would_run_is_quoted_and_kinds_hold_for_an_empty_table(site: Site):
    typed = {"column": "Plover", "started_at": "2025-02-01T08:00", "asymmetry": 1.2, "batch": "=1+1"}
    empty = ask(site, SERIES, format="parquet")
    site.client.post("/api/v1/typed-runs", json=typed, headers=bearer(site.token("operator")))
    assert set(frame(ask(site, SERIES)).batch) == {"'=1+1"}
    lines = [json.loads(line) for line in ask(site, SERIES, format="jsonl").text.splitlines()]
    assert [(one["batch"], one["u"], one["values_from"]) for one in lines] == [
        ("=1+1", None, "typed by hand")
    ]
    filled = ask(site, SERIES, format="parquet")
    kinds: list[Any] = [pyarrow.parquet.read_schema(io.BytesIO(one.content)) for one in (empty, filled)]
    assert kinds[0].equals(kinds[1])
    assert ask(site, f"/api/v1/columns/{TAG}/cycles/1/trace").json()["code"] == "no-trace"


def test_people_read_temperatures_in_celsius_and_programs_in_kelvin(life: Site):
    """0 °C is 273.15 K by definition (SI brochure, 9th edition, 2.3.1); 1 K more is 1 °C more."""
    kelvin = ask(life, f"/api/v1/columns/{TAG}/cycles/3").json()["whole_cycle"]["temperature_k"]
    assert kelvin["unit"] == "K"
    visitor = life.visitor("viewer")
    table = pd.read_csv(io.StringIO(visitor.page(f"/columns/{TAG}/results.csv")))
    assert table["temperature_c"][2] == pytest.approx(kelvin["value"] - 273.15)
    assert table["temperature_c u"][2] == pytest.approx(kelvin["u"])
    page = visitor.page(f"/columns/{TAG}?cycle=3")
    assert 'Temperature<span class="quiet">, °C</span>' in page
    drawn = json.loads(page.partition('id="chart-data">')[2].partition("</script>")[0])
    trend = next(one for one in drawn["trends"] if one["key"] == "temperature_k")
    assert trend["value"][2] == pytest.approx(kelvin["value"] - 273.15, abs=0.01)
    assert trend["u"][2] == pytest.approx(kelvin["u"], rel=0.01)
    low, high = trend["alert"]
    assert low is None or -20 < low < trend["value"][2] < high < 60
