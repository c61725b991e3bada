"""A run as arrays is recorded as the same run in a file is."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pandas as pd
import pytest
from httpx import Response
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site
from tests.visitors import bearer

NEXT = HEALTHY + 1
TAG = PLOVER.column.asset_tag
STARTED = "2025-01-27T09:00"


def a_run(number: int = NEXT) -> dict[str, Any]:
    """The arrays of the file that the bed's skid would have written, taken out of it by pandas."""
    table = pd.read_csv(io.BytesIO(builders.make_cycle_file(PLOVER, number).content), skiprows=5)
    first = table[table.Phase != table.Phase.shift()]

    def signal(quantity: str, column: str, unit: str, place: str = "") -> dict[str, Any]:
        values = table[column].astype(object).where(table[column].notna(), None)
        return {"quantity": quantity, "unit": unit, "place": place, "values": values.tolist()}

    return {
        "column": "Plover",
        "started_at": STARTED,
        "axis": {"quantity": "volume", "unit": "mL", "values": table["Volume [mL]"].tolist()},
        "signals": [
            signal("conductivity", "Conductivity [mS/cm]", "mS/cm"),
            signal("pressure", "Pressure before column [bar]", "bar", "pre"),
            signal("pressure", "Pressure after column [bar]", "bar", "post"),
            signal("flow", "Flow [mL/min]", "mL/min"),
            signal("temperature", "Temperature [°C]", "°C"),
            signal("ph", "pH", ""),
        ],
        "marks": [{"name": row.Phase, "at": row[1]} for row in first.itertuples()],
    }


def post(site: Site, run: dict[str, Any], **headers: str) -> Response:
    return site.client.post("/api/v1/json-runs", json=run, headers=bearer(site.token("operator")) | headers)


def results(site: Site, number: int) -> dict[str, Any]:
    address = f"/api/v1/columns/{TAG}/cycles/{number}"
    cycle = site.client.get(address, headers=bearer(site.token("viewer"))).json()
    found = {one["name"]: one["results"] for one in cycle["transitions"]} | {"": cycle["whole_cycle"]}
    return {f"{name}/{metric}": one["value"] for name, of in found.items() for metric, one in of.items()}


def test_arrays_give_the_numbers_that_the_file_gives(life: Site):
    reply = post(life, a_run())
    assert reply.status_code == 201, reply.text
    assert reply.json()["verdict"] == "past action limit"
    by_arrays = results(life, NEXT)
    file = builders.make_cycle_file(PLOVER, NEXT)
    answer = life.post_run(file, credentials=bearer(life.token("operator")), another_run="true")
    by_file = results(life, answer.json()["cycle"])
    assert by_arrays.keys() == by_file.keys()
    for name, value in by_file.items():
        assert by_arrays[name] == pytest.approx(value, rel=1e-9), name


def test_the_same_arrays_are_recorded_once_and_a_key_gives_the_same_answer(life: Site):
    first, again = post(life, a_run()), post(life, a_run())
    assert (first.status_code, again.status_code) == (201, 200)
    keyed = [post(life, a_run(NEXT + 1), **{"Idempotency-Key": "j"}) for _ in range(2)]
    assert keyed[0].json() == keyed[1].json()


def test_gaps_are_null(life: Site):
    run = a_run()
    run["signals"][4]["values"][5:15] = [None] * 10
    assert post(life, run).status_code == 201
    table = life.client.get(
        f"/api/v1/columns/{TAG}/cycles/{NEXT}/trace?format=parquet", headers=bearer(life.token("viewer"))
    )
    frame = pd.read_parquet(io.BytesIO(table.content))
    assert int(np.isnan(frame[frame.quantity == "temperature"].value).sum()) == 10


@pytest.mark.parametrize(
    ("change", "where"),
    [
        (lambda run: run["signals"][0]["values"].pop(), "signals.0.values"),
        (lambda run: run["signals"].append(run["signals"][0]), "signals.6"),
        (lambda run: run["axis"].update(quantity="place"), "axis.quantity"),
        (lambda run: run["axis"].update(unit="furlong"), ""),
        (lambda run: run["signals"].clear(), "signals"),
        (lambda run: run.update(extra=1), "extra"),
        (lambda run: run["marks"].clear(), "file"),
    ],
)
def test_what_is_no_run_is_refused_and_leaves_nothing(life: Site, change: Any, where: str):
    run = a_run()
    change(run)
    answer = post(life, run)
    assert (answer.status_code, answer.headers["content-type"]) == (422, "application/problem+json"), (
        answer.text
    )
    assert not where or answer.json()["where"] == where
    assert life.counts()["cycles"] == HEALTHY
