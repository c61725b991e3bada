"""The script that Beadline is measured beside does the same job, and the page with the table is whole."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest
from tests import builders
from tests.benchmarks import __main__ as beside
from tests.benchmarks import script

from beadline.science import transition


def test_the_script_finds_what_we_find_in_a_clean_run(tmp_path: Path):
    path, results = tmp_path / "run.csv", tmp_path / "results.csv"
    path.write_bytes(builders.make_cycle_file(beside.BED, 1).content)
    for cycle in (1, 2):
        script.log_run(path, results, bed="a", cycle=cycle)
    table = pd.read_csv(results)
    assert list(table.cycle) == [1, 1, 1, 2, 2, 2]
    strip = pd.read_csv(path, skiprows=script.PREAMBLE).query("Phase == 'Strip'")
    volume = (strip[script.VOLUME] - strip[script.VOLUME].iloc[0]) / script.BED_ML
    ours = transition.analyse(
        volume.to_numpy(), strip[script.SIGNAL].to_numpy(), bed_volume_m3=1.0, bed_height_m=0.2
    )
    assert table.hetp_moments[0] == pytest.approx(ours.estimates["hetp_moments"].value, rel=0.2)


def test_the_script_puts_the_bed_that_changed_first_and_judges_its_last_cycle(tmp_path: Path):
    table = beside.made_up(5, 40)
    last = (table.bed == "bed 3") & (table.cycle == 40)
    table.loc[last, "hetp_moments"] *= 2
    table.to_csv(tmp_path / "results.csv", index=False)
    script.fleet_page(tmp_path / "results.csv", tmp_path / "fleet.html")
    beds = re.findall(r"<th>(bed \d)</th>", (tmp_path / "fleet.html").read_text())
    assert (beds[0], len(beds)) == ("bed 3", 5)
    values = table[(table.bed == "bed 3") & (table.transition == "wash to strip")]
    assert script.judge(values[["hetp_moments"]]).iloc[-1].all()


def test_the_page_holds_a_row_for_each_comparison(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    page = tmp_path / "benchmarks.md"
    page.write_text(beside.PAGE.read_text("utf-8"), "utf-8")
    monkeypatch.setattr(beside, "PAGE", page)
    shown = page.read_text("utf-8").split(beside.MARKS[0])[1].split(beside.MARKS[1])[0]
    for what in ("analysis", "intake", "trend page", "fleet page", "drift"):
        assert f"\n| {what}" in shown
    row = beside.Row("analysis of nothing", (1234.5, 0.123), (2.0, 1.9), "none")
    beside.write([str(row)])
    assert "\n| analysis of nothing | 1,234 (0.12) | 2 (1.9) | none |\n" in page.read_text("utf-8")
    assert "intake" not in page.read_text("utf-8").split(beside.MARKS[0])[1].split(beside.MARKS[1])[0]
