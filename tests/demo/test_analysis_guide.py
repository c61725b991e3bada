"""The guide's notebook, cell by cell on the demo plant: it finds what the scenario did to the beds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from beadline.cli import main
from beadline.demo import loading
from beadline.kit import clock, places
from beadline.store import migrate
from beadline.store.engine import make_engine, writing_sessions

GUIDE = (places.folder("web") / "help" / "analysis.md").read_text("utf-8")
CELLS = re.findall(r"```python\n(.*?)```", GUIDE, re.DOTALL)


def table(head: str) -> list[tuple[str, ...]]:
    """A table of the guide, by how its head begins."""
    rows = GUIDE.split(f"\n| {head}")[1].split("\n\n")[0].splitlines()[2:]
    return [tuple(cell.strip() for cell in row.strip("|").split("|")) for row in rows]


def notebook(folder: Path, monkeypatch: pytest.MonkeyPatch, only: Sequence[str] | None) -> dict[str, Any]:
    """Load beds of the demo, export them as the guide says, and run its cells."""
    url = f"sqlite:///{folder / 'demo.db'}"
    engine = make_engine(url)
    migrate.upgrade(engine)
    loading.load(writing_sessions(engine), today=clock.now().date(), progress=lambda *_: None, only=only)
    engine.dispose()
    monkeypatch.setenv("BEADLINE_DATABASE_URL", url)
    monkeypatch.chdir(folder)
    (export,) = re.findall(r"beadline (export .*)\n", GUIDE)
    assert main(export.split()) == 0
    found: dict[str, Any] = {}
    for cell in CELLS:
        exec(cell, found)
    return found


def test_the_cells_find_the_cracked_bed_and_what_stayed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    found = notebook(tmp_path, monkeypatch, ("Godwit 1",))
    godwit = next(row for row in table("bed | column") if row[0] == "Godwit")
    assert [tuple(map(str, row)) for row in found["jumps"]] == [godwit]
    times = {(metric, of or "(of the whole run)"): x for metric, of, _, _, x in found["around"].rows()}
    assert times == {(metric, of): pytest.approx(float(x), abs=0.02) for metric, of, x in table("metric | t")}
    assert found["before"] == pytest.approx(17.6, abs=0.1)
    assert found["after"] == pytest.approx(18.7, abs=0.1)


@pytest.mark.slow
def test_in_the_whole_plant_the_three_beds_that_were_harmed_are_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    found = notebook(tmp_path, monkeypatch, None)
    assert [tuple(map(str, row)) for row in found["jumps"]] == table("bed | column")
