"""How fast a run gets in: reading beside pandas on the same file, and logging through HTTP as a life grows.

    python -m tests.benchmarks.intake [cycles]

Reading is parsing and recognition of a file whose layout was never seen before, and of one that is read by
its reading profile, as all files of a bed after its first are; pandas is told where the table starts, and
does nothing but parse. A run of three transitions is then posted to a server on an SQLite database with
durable commits, one cycle after the other. Times are those of the clock and, since a busy machine stretches
these, those of the processor, in which client and server are counted together.
"""

from __future__ import annotations

import io
import socket
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import httpx
import pandas as pd
import uvicorn
from tests import builders, sites, visitors
from tests.builders import SHORT_PLAN

from beadline import app, reading
from beadline.demo.plant import Phase, PlantPacking
from beadline.features.accounts import queries as account_queries
from beadline.settings import Settings
from beadline.store.engine import make_engine, writing_sessions

THREE = replace(
    SHORT_PLAN,
    name="Polish with a clean",
    transitions=(
        *SHORT_PLAN.transitions,
        {"name": "rinse to clean", "quantity": "conductivity", "mark": "Clean", "direction": "up"},
    ),
    phases=(*SHORT_PLAN.phases, Phase("Clean", 2.2, 60.0, 12.0, log_cv=0.01)),
)
REPEATED = 20
Took = tuple[float, float]  # by the clock and by the processor [s]


def timed(work: Callable[[], object]) -> Took:
    """How long it takes: the best of some, since everything else only adds to it."""
    found = []
    for _ in range(REPEATED):
        clock, processor = time.perf_counter(), time.process_time()
        work()
        found.append((time.perf_counter() - clock, time.process_time() - processor))
    return min(one[0] for one in found), min(one[1] for one in found)


def a_file(repeats: int) -> bytes:
    """A run as a skid writes it, with so many times its rows: volume goes on, phases come again."""
    content = builders.make_cycle_file(builders.a_bed(), 1).content.decode()
    head, rows = content.splitlines()[:6], content.splitlines()[6:]
    far = float(rows[-1].split(",", 1)[0]) * (1 + 1 / len(rows))
    lines = [*head]
    for turn in range(repeats):
        for row in rows:
            volume, _, rest = row.partition(",")
            lines.append(f"{float(volume) + turn * far:.6g},{rest}" if turn else row)
    return "\n".join(lines).encode()


def compare_reading() -> None:
    """Print the times of reading and of pandas on files of several sizes."""
    for repeats in (1, 20, 200):
        content = a_file(repeats)
        profile = reading.read(content, filename="run.csv").profile
        ours = timed(lambda c=content: reading.read(c, filename="run.csv"))  # type: ignore[misc]
        known = timed(lambda c=content, p=profile: reading.read(c, filename="run.csv", profile=p))  # type: ignore[misc]
        theirs = timed(lambda c=content: pd.read_csv(io.BytesIO(c), skiprows=5))  # type: ignore[misc]
        print(
            f"{len(content) / 1e6:7.2f} MB: read and recognised in {ours[0] * 1e3:.1f} ms "
            f"(processor {ours[1] * 1e3:.1f}), read by its profile in {known[0] * 1e3:.1f} ms "
            f"({known[1] * 1e3:.1f}), parsed by pandas in {theirs[0] * 1e3:.1f} ms ({theirs[1] * 1e3:.1f}): "
            f"{ours[1] / theirs[1]:.2f} and {known[1] / theirs[1]:.2f} times"
        )


def post_all(address: str, token: str, bed: PlantPacking, cycles: int) -> list[Took]:
    """Post the cycles of a bed, one after the other; return how long each took."""
    took = []
    with httpx.Client(timeout=120, headers=visitors.bearer(token)) as client:
        for number in range(1, cycles + 1):
            file = builders.make_cycle_file(bed, number)
            clock, processor = time.perf_counter(), time.process_time()
            answer = client.post(
                f"{address}/api/v1/runs",
                data={"column": bed.column.name},
                files={"file": (file.filename, file.content)},
            )
            took.append((time.perf_counter() - clock, time.process_time() - processor))
            assert answer.status_code == 201, answer.text
    return took


def time_logging(cycles: int) -> list[Took]:
    """Log a life through a server of our own."""
    bed = replace(builders.a_bed(), step_plan=THREE)
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'life.db'}"
        sites.fill_people(url)
        engine = make_engine(url)
        with writing_sessions(engine).begin() as session:
            engineer = account_queries.user_named(session, "engineer")
            assert engineer is not None
            builders.make_packing(session, bed, by=engineer)
            token = visitors.token_of(session, engineer)
        engine.dispose()
        listening = socket.create_server(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app.build(Settings(database_url=url)), log_level="warning"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]})
        thread.start()
        took = post_all(f"http://127.0.0.1:{listening.getsockname()[1]}", token, bed, cycles)
        server.should_exit = True
        thread.join()
    return took


def around(took: list[Took], number: int) -> Took:
    """Medians of the five cycles around one."""
    near = took[max(0, number - 3) : number + 2]
    return statistics.median(one[0] for one in near), statistics.median(one[1] for one in near)


def main(cycles: int) -> None:
    """Print what was measured."""
    compare_reading()
    took = time_logging(cycles)
    clock, processor = (statistics.median(one[part] for one in took[2:]) * 1e3 for part in (0, 1))
    print(f"a run of three transitions is logged in {clock:.0f} ms at the median (processor {processor:.0f})")
    early, late = around(took, 10), around(took, cycles)
    print(
        f"cycle 10: {early[0] * 1e3:.0f} ms ({early[1] * 1e3:.0f}); cycle {cycles}: {late[0] * 1e3:.0f} ms "
        f"({late[1] * 1e3:.0f}): {late[1] / early[1]:.2f} times"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 300)
