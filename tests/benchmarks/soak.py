"""An hour's worth of a large plant, compressed into minutes, against a running server on the loopback.

    python -m tests.benchmarks.soak [seconds] [database URL]

An hour: 30 skids log a run every 20 minutes, 30 people open a page every 45 seconds, and 30 pages stay open
and hear news. One `beadline serve` on one database, an empty SQLite file unless a URL is given. It prints
percentiles, errors, and the memory of the server after a first burst of all kinds of requests and at the end.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import httpx
import numpy as np
from prometheus_client.parser import text_string_to_metric_families
from tests import builders, sites, visitors
from tests.benchmarks.load import Answer, Load
from tests.processes import Served, served

from beadline.boundary import cookies
from beadline.demo.plant import PlantPacking
from beadline.demo.recording import TraceFile
from beadline.features.accounts import queries as account_queries
from beadline.features.accounts import service as accounts
from beadline.kit import clock
from beadline.settings import Settings
from beadline.store.engine import make_engine, writing_sessions

UNHURRIED = {f"BEADLINE_CHANGES_PER_MINUTE{of}": "100000" for of in ("", "_OF_ADDRESS")}
HEARD_WITHIN_S = 30.0
WARM_LOOKS = 40  # at once, without a pause, so that every thread and connection of the server has worked


@dataclass(frozen=True, slots=True)
class Plant:
    """How much goes on: skids with runs of each, people with looks of each, open pages, and in what time."""

    skids: int = 30
    runs: int = 3
    people: int = 30
    looks: int = 80
    listeners: int = 30
    seconds: float = 300.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of it: answers, runs of which each open page missed, memory [MB], bad lines of the log."""

    took_s: float
    answers: list[Answer]
    missed: list[int]
    memory_mb: tuple[float, float]
    troubles: list[str]

    @property
    def errors(self) -> list[Answer]:
        """Requests that were not answered as they should be."""
        return [one for one in self.answers if one.status not in (200, 201)]

    @property
    def growth(self) -> float:
        """By which part the server's memory grew."""
        before, after = self.memory_mb
        return after / before - 1


def fill(url: str, beds: Sequence[PlantPacking]) -> tuple[str, str]:
    """Record the beds; return an engineer's token and the cookie of a signed-in browser."""
    sites.fill_people(url)
    engine = make_engine(url)
    with writing_sessions(engine).begin() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        for bed in beds:
            builders.make_packing(session, bed, by=engineer)
        token = visitors.token_of(session, engineer)
        made = accounts.start_sign_in(session, engineer, at=clock.now())
    engine.dispose()
    return token, f"{cookies.name_of(cookies.SIGN_IN, Settings())}={made.token}"


def soak(url: str, plant: Plant, *, log: Path) -> Outcome:
    """Serve a new database and let the plant work on it."""
    beds = [builders.a_bed(f"Stint{number}") for number in range(plant.skids)]
    token, cookie = fill(url, beds)
    files = [[builders.make_cycle_file(bed, n) for n in range(1, plant.runs + 2)] for bed in beds]
    with served(url, log, **UNHURRIED) as server:
        load = Load(server.address, token, cookie)
        for _ in range(plant.listeners):
            load.listener()
        work(load, replace(plant, looks=WARM_LOOKS, seconds=0.0), beds, [own[:1] for own in files])
        load.answers.clear()
        before, began = memory_mb(server, token), time.monotonic()
        work(load, plant, beds, [own[1:] for own in files])
        took = time.monotonic() - began
        missed = hear_out(load, plant.skids * (plant.runs + 1))
        after = memory_mb(server, token)
        troubles = [line["message"] for line in server.logged() if line["level"] not in ("info", "debug")]
    return Outcome(took, load.answers, missed, (before, after), troubles)


def work(
    load: Load, plant: Plant, beds: Sequence[PlantPacking], files: Sequence[Sequence[TraceFile]]
) -> None:
    """Let skids and people do what they do."""
    chance = np.random.default_rng(1)
    known = looks(beds)
    clients = [
        load.skid(bed.column.name, own, over_s=plant.seconds) for bed, own in zip(beds, files, strict=True)
    ]
    for _ in range(plant.people):
        chosen = [known[place] for place in chance.integers(0, len(known), plant.looks)]
        clients.append(load.person(chosen, over_s=plant.seconds))
    for client in clients:
        client.join()


def looks(beds: Sequence[PlantPacking]) -> list[tuple[str, str]]:
    """Pages that people open, by a name for each kind."""
    own = [bed.column.asset_tag for bed in beds[:8]]
    return [
        ("Columns", "/"),
        ("Alerts", "/alerts"),
        ("Calendar", "/calendar"),
        ("Records", "/records"),
        *(("Column", f"/columns/{tag}") for tag in own),
        *(("cycles as JSON", f"/api/v1/columns/{tag}/cycles") for tag in own[:2]),
    ]


def hear_out(load: Load, runs: int) -> list[int]:
    """Wait until every open page has heard of every run; return how many each missed."""
    deadline = time.monotonic() + HEARD_WITHIN_S

    def missed() -> list[int]:
        return [max(0, runs - len(set(one))) for one in load.heard]

    while any(missed()) and time.monotonic() < deadline:
        time.sleep(0.2)
    load.stop.set()
    return missed()


def memory_mb(server: Served, token: str) -> float:
    """What the server's process holds in memory, as it tells itself [MB]."""
    told = httpx.get(f"{server.address}/api/v1/metrics", headers=visitors.bearer(token), timeout=60).text
    families = {family.name: family for family in text_string_to_metric_families(told)}
    return float(families["process_resident_memory_bytes"].samples[0].value) / 1e6


def report(outcome: Outcome) -> list[str]:
    """Write what came of it, as tables in Markdown."""
    lines = [
        "| request | number | median [ms] | 95 % [ms] | 99 % [ms] | longest [ms] |",
        "|---|---|---|---|---|---|",
    ]
    kinds = {one.what.split(" (")[0] for one in outcome.answers}
    for kind in sorted(kinds):
        took = [1e3 * one.seconds for one in outcome.answers if one.what.split(" (")[0] == kind]
        shown = [f"{value:.0f}" for value in (*np.percentile(took, (50, 95, 99)), max(took))]
        lines.append(f"| {kind} | {len(took)} | {' | '.join(shown)} |")
    before, after = outcome.memory_mb
    return [
        *lines,
        "",
        f"{len(outcome.answers)} requests in {outcome.took_s:.0f} s, {len(outcome.errors)} errors, "
        f"{len(outcome.troubles)} warnings in the log; {len(outcome.missed)} open pages missed "
        f"{sum(outcome.missed)} runs; memory {before:.0f} MB, then {after:.0f} MB ({outcome.growth:+.1%}).",
    ]


def main(seconds: float, url: str) -> None:
    """Print the report."""
    with tempfile.TemporaryDirectory() as folder:
        outcome = soak(
            url or f"sqlite:///{Path(folder) / 'soak.db'}", Plant(seconds=seconds), log=Path(folder) / "log"
        )
    print("\n".join(report(outcome)))
    for one in {f"{one.what}: {one.status}" for one in outcome.errors} | set(outcome.troubles):
        print(one)


if __name__ == "__main__":
    main(*(float(sys.argv[1]) if len(sys.argv) > 1 else 300.0, sys.argv[2] if len(sys.argv) > 2 else ""))
