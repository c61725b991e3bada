"""`beadline export`: a history that pandas, Polars and DuckDB read, and that grows by what is new."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pandas as pd
import polars as pl
import pytest
from tests import builders, sites
from tests.builders import HEALTHY
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import bearer

from beadline.cli import main

TAG = PLOVER.column.asset_tag
CRACK = HEALTHY + 1
README = Path(__file__).parents[2] / "README.md"


@pytest.fixture
def cracked(open_site: Callable[..., Site], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Site:
    """A site whose bed has cracked, with its database as the settings name it."""
    site = open_site(sites.fill_cracked_life)
    monkeypatch.setenv("BEADLINE_DATABASE_URL", site.settings.database_url)
    monkeypatch.chdir(tmp_path)
    return site


def export(capsys: pytest.CaptureFixture[str], *more: str) -> dict[str, Any]:
    assert main(["export", "history", "--json", *more]) == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


def values(table: pd.DataFrame) -> list[tuple[Any, ...]]:
    """HETP of a bed's transition, by cycle, whatever the library makes of the partitions."""
    chosen = table[(table.metric == "hetp_moments") & (table.transition == "wash to strip")]
    chosen = chosen[chosen["column"].astype(str) == TAG].sort_values("cycle")
    return list(zip(chosen.cycle.astype(int), chosen.value, strict=True))


def test_pandas_polars_and_duckdb_read_the_same_numbers(cracked: Site, capsys: pytest.CaptureFixture[str]):
    export(capsys)
    everything = "history/results/**/*.parquet"
    tables = [
        pd.read_parquet("history/results"),
        pl.scan_parquet(everything, hive_partitioning=True).collect().to_pandas(),
        duckdb.sql(f"select * from read_parquet('{everything}', hive_partitioning = true)").df(),
    ]
    viewer = bearer(cracked.token("viewer"))
    reply = cracked.client.get(f"/api/v1/columns/{TAG}/cycles", headers=viewer).json()
    told = [
        (cycle["cycle"], one["results"]["hetp_moments"]["value"])
        for cycle in reply["cycles"]
        for one in cycle["transitions"]
        if one["name"] == "wash to strip"
    ]
    assert len(told) == HEALTHY + 5
    for table in tables:
        assert values(table) == told
    beds = pd.read_parquet("history/beds")
    assert set(beds["column"]) == {TAG, DOTTEREL.column.asset_tag}


def test_the_example_of_the_readme_finds_the_crack(cracked: Site, capsys: pytest.CaptureFixture[str]):
    export(capsys)
    (code,) = re.findall(r"```python\n(\s+import duckdb\n.*?)```", README.read_text("utf-8"), re.DOTALL)
    lines = [line.removeprefix("   ") for line in code.splitlines()]
    found: dict[str, Any] = {}
    exec("\n".join(lines), found)
    column, packing, cycle, jump = found["jumps"].fetchall()[0]
    assert (str(column), packing, cycle) == (TAG, 1, CRACK)
    assert jump > 0.2


def test_a_second_run_writes_only_what_is_new_or_changed(cracked: Site, capsys: pytest.CaptureFixture[str]):
    first = export(capsys)
    results = f"results/column={TAG}/packing=1/cycles-000001.parquet"
    assert sorted(first["written"]) == ["beds/beds.parquet", results]
    again = export(capsys)
    assert (again["written"], again["unchanged"]) == ([], 2)
    dotterel = builders.make_cycle_file(DOTTEREL, 1)
    cracked.post_run(dotterel, credentials=bearer(cracked.token("operator")), column="Dotterel")
    grown = export(capsys)
    assert grown["written"] == [f"results/column={DOTTEREL.column.asset_tag}/packing=1/cycles-000001.parquet"]
    with cracked.writing() as session:
        cycle = session.connection().exec_driver_sql("select id from cycles where number = 3").scalar_one()
    cracked.visitor("engineer").send(f"/cycles/{cycle}/exclude", {"reason": "Probe was swapped."})
    assert export(capsys)["written"] == [results]
    table = pd.read_parquet(f"history/{results}")
    assert set(table[table.excluded].cycle) == {3}
    (Path("history") / results).unlink()
    assert export(capsys)["written"] == [results]


def test_traces_go_out_once(cracked: Site, capsys: pytest.CaptureFixture[str]):
    cycles = HEALTHY + 5
    export(capsys)
    written = [name for name in export(capsys, "--traces")["written"] if name.startswith("traces/")]
    assert len(written) == cycles
    assert export(capsys, "--traces")["written"] == []
    table = pl.scan_parquet("history/traces/**/*.parquet", hive_partitioning=True)
    kinds = table.filter(pl.col("cycle") == CRACK).select("quantity").unique().collect()["quantity"].to_list()
    assert {"conductivity", "pressure"} <= set(kinds)
