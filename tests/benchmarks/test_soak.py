"""Twelve seconds of the soak, always: nothing fails, nobody misses anything, memory does not run away."""

from __future__ import annotations

from pathlib import Path

from tests import sites
from tests.benchmarks import soak
from tests.databases import Databases

SMALL = soak.Plant(skids=6, runs=3, people=6, looks=20, listeners=10, seconds=12.0)


def test_a_small_plant_is_served_without_an_error_or_a_leak(databases: Databases, tmp_path: Path):
    with databases.copy("empty", sites.fill_nothing) as url:
        outcome = soak.soak(url, SMALL, log=tmp_path / "log")
    assert len(outcome.answers) == SMALL.skids * SMALL.runs + SMALL.people * SMALL.looks
    assert (outcome.errors, outcome.troubles) == ([], [])
    assert outcome.missed == [0] * SMALL.listeners
    assert outcome.growth < 0.1  # in so short a time the threads' heaps still fill: 3 to 7 %
    assert len(soak.report(outcome)) > 5
