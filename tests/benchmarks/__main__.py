"""Beadline beside what a person would do instead, a script with pandas and scipy over CSV files, in one run.

    python -m tests.benchmarks             # print the table
    python -m tests.benchmarks --write     # and put it into the page Help → Benchmarks

Analysis, intake, trend page, fleet page, drift evaluation; the least of several tries by the clock, and the
processor's time of the same try, in which client and server are counted together. The other benchmarks of
this folder tell about accuracy, rates of alarms, growth and load. Our pages and runs are asked for within the
process, through the whole application but without a network.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import re
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from tests import builders, sites, visitors
from tests.benchmarks import crowding, script
from tests.benchmarks import transition as fronts
from tests.benchmarks.intake import THREE
from tests.science.drift import lives
from tests.science.transition import simulated
from tests.sites import Site

from beadline.features.accounts import queries as account_queries
from beadline.kit import places
from beadline.science import drift, transition

PAGE = places.folder("web") / "help" / "benchmarks.md"
MARKS = ("<!-- measured -->\n", "<!-- until here -->\n")
LOGGED, BEDS, CYCLES = 40, 500, 300
BED = replace(builders.a_bed(), step_plan=THREE)
TAG = BED.column.asset_tag
Took = tuple[float, float]  # by the clock and by the processor [ms]


@dataclass(frozen=True, slots=True)
class Row:
    """One comparison: what each does, and how long it takes."""

    what: str
    ours: Took
    script: Took
    differs: str

    def __str__(self) -> str:
        ours, script = (
            f"{_short(clock)} ({_short(processor)})" for clock, processor in (self.ours, self.script)
        )
        return f"| {self.what} | {ours} | {script} | {self.differs} |"


def _short(ms: float) -> str:
    return f"{ms:,.0f}" if ms >= 100 else f"{ms:.2g}"


def least(work: Callable[[], object], *, tries: int = 7) -> Took:
    """How long it takes: the best of some after the first, since everything else only adds to it."""
    work()
    took = []
    for _ in range(tries):
        clock, processor = time.perf_counter(), time.process_time()
        work()
        took.append((1e3 * (time.perf_counter() - clock), 1e3 * (time.process_time() - processor)))
    return min(took)


def analysis() -> Row:
    """One transition of 1,000 points, and how much nearer to the truth ours is over dirty records."""
    front = simulated.FRONTS[1]
    v, y = simulated.trace(front, simulated.Plant(points=1000), np.random.default_rng(3))
    nearer = fronts.gain(60, seed=1)
    return Row(
        "analysis of a transition, 1,000 points",
        least(lambda: transition.analyse(v, y, bed_volume_m3=1.0, bed_height_m=0.2), tries=15),
        least(lambda: fronts.derivative_moments(v, y), tries=15),
        f"all metrics with uncertainty; three numbers, whose errors are {nearer:.1f} times as large "
        "on dirty records",
    )


def intake(site: Site, folder: Path) -> Row:
    """A run of three transitions: read, analysed and stored for good; ours is judged as well."""
    credentials = visitors.bearer(site.token("operator"))
    files = iter([builders.make_cycle_file(BED, number) for number in range(1, LOGGED + 1)])
    results, path = folder / "logged.csv", folder / "run.csv"
    path.write_bytes(builders.make_cycle_file(BED, 1).content)

    def post() -> None:
        answer = site.post_run(next(files), credentials=credentials)
        assert answer.status_code == 201, answer.text

    return Row(
        "intake of a run, three transitions",
        least(post, tries=LOGGED - 1),
        least(lambda: script.log_run(path, results, bed=TAG, cycle=1)),
        "layout recognised, trace kept, judged, alert; layout known, row added",
    )


def pages(site: Site, folder: Path) -> list[Row]:
    """The trend of a bed of many cycles, and all of many beds."""
    results = folder / "results.csv"
    made_up(BEDS, CYCLES).to_csv(results, index=False)
    with site.engine.begin() as connection:
        crowding.add_beds(connection, 1, to=BEDS)
        crowding.add_cycles(connection, 1, to=CYCLES)
    browser = site.visitor("viewer")

    def shown(address: str) -> None:
        assert browser.get(address).status_code == 200

    bed = least(lambda: shown(f"/columns/{TAG}"))
    picture = least(lambda: script.trend_page(results, folder / "trend.png", bed="bed 0"))
    fleet = least(lambda: shown("/"))
    table = least(lambda: script.fleet_page(results, folder / "fleet.html"), tries=3)
    differs = "page with charts to point at; a picture"
    worst = "worst first, one bead a cycle; a table"
    return [
        Row(f"trend page, {CYCLES} cycles", bed, picture, differs),
        Row(f"fleet page, {BEDS} beds", fleet, table, worst),
    ]


def made_up(beds: int, cycles: int) -> pd.DataFrame:
    """The script's results of a fleet: the first bed as long as ours, the others shorter."""
    chance = np.random.default_rng(1)
    of_bed = [(f"bed {n}", c) for n in range(beds) for c in range(1, (LOGGED if n else cycles) + 1)]
    rows = [(bed, cycle, name) for bed, cycle in of_bed for name in script.TRANSITIONS]
    table = pd.DataFrame(rows, columns=["bed", "cycle", "transition"])
    for metric, centre in (("hetp_moments", 3e-4), ("asymmetry", 1.2), ("skewness", 0.3)):
        table[metric] = centre * (1 + 0.03 * chance.standard_normal(len(table)))
    return table


def drifting() -> list[Row]:
    """A life of 36 series judged anew, and one further cycle of it."""
    history = lives.readings(CYCLES + 1, seed=1)
    state = drift.replay(history[:CYCLES], drift.Settings()).state
    stored = json.loads(json.dumps(state.to_dict()))
    table = pd.DataFrame([{key: one.value for key, one in r.values.items()} for r in history])
    judged = least(lambda: script.judge(table))
    whole = least(lambda: drift.replay(history, drift.Settings()))
    differs = "charts of four kinds with a stated rate of false alarms, causes; limits at 3 σ"
    further = least(
        lambda: drift.advance(drift.State.from_dict(stored), history[CYCLES])[0].to_dict(), tries=30
    )
    return [
        Row(f"drift, one further cycle of {CYCLES}, 36 series", further, judged, f"{differs}, all anew"),
        Row(f"drift, a whole life of {CYCLES} cycles, 36 series", whole, judged, differs),
    ]


@contextmanager
def a_site() -> Iterator[tuple[Site, Path]]:
    """The application on an SQLite database with one packed bed."""
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'beside.db'}"
        sites.fill_people(url)
        site = Site(url)
        with site.writing() as session:
            engineer = account_queries.user_named(session, "engineer")
            assert engineer is not None
            builders.make_packing(session, BED, by=engineer)
        yield site, Path(folder)
        site.close()


def measured() -> list[str]:
    """Measure all; return the lines of a table in Markdown."""
    with a_site() as (site, folder):
        rows = [analysis(), intake(site, folder), *pages(site, folder), *drifting()]
    cores = f"{os.cpu_count()} cores (load {os.getloadavg()[0]:.1f} at the end)"
    machine = f"Python {platform.python_version()}, {cores}, SQLite with durable commits."
    head = ["| what | Beadline [ms] | script [ms] | what each does |", "|---|---|---|---|"]
    return [*head, *(str(row) for row in rows), "", f"Measured on {time.strftime('%Y-%m-%d')}: {machine}"]


def write(lines: list[str]) -> None:
    """Put the table into the page, in the place of the one before."""
    text = PAGE.read_text("utf-8")
    place = re.compile("(?<=" + re.escape(MARKS[0]) + ").*(?=" + re.escape(MARKS[1]) + ")", re.DOTALL)
    new = "\n" + "\n".join(lines) + "\n\n"
    PAGE.write_text(place.sub(lambda _: new, text), "utf-8")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks", description=__doc__)
    parser.add_argument("--write", action="store_true", help=f"put the table into {PAGE.name}")
    wanted = parser.parse_args()
    table = measured()
    print("\n".join(table))
    if wanted.write:
        write(table)
