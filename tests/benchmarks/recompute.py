"""How fast stored transitions are analysed again, on one core and on two, and with how much memory.

    python -m tests.benchmarks.recompute [transitions to extrapolate to]

A bed of the demo plant is loaded into a database of its own, then recomputed as `beadline recompute` does:
traces read and checked, analysed in worker processes of one thread each, results kept, the life judged
anew. Seconds are those of the clock once the processes have started. Processor time, which a busy machine
does not stretch, is that of this process and its workers together, without their start.
"""

from __future__ import annotations

import importlib
import os
import resource
import sys
import tempfile
import time
from datetime import date
from pathlib import Path

from sqlalchemy import Engine, text

from beadline.demo import loading
from beadline.demo.people import ENGINEER
from beadline.features.accounts import queries as account_queries
from beadline.features.recomputations import jobs
from beadline.features.recomputations import service as recomputations
from beadline.kit import clock
from beadline.store import migrate
from beadline.store.engine import make_engine, reading_sessions, writing_sessions

BED, TODAY = "Dunlin 1", date(2031, 3, 12)
PROCESSES = (1, 2)


def fill(engine: Engine) -> int:
    """Load the bed; return how many transitions it has."""
    print(f"Loading {BED} of the demo plant.", flush=True)
    migrate.upgrade(engine)
    loading.load(writing_sessions(engine), today=TODAY, progress=lambda *_: None, only={BED})
    with engine.connect() as connection:
        return connection.execute(text("select count(*) from transitions")).scalar_one()


def recompute(engine: Engine, workers: jobs.Workers, reason: str) -> float:
    """Recompute the bed as if an older method had analysed it; return the seconds."""
    with engine.begin() as connection:
        connection.execute(text("update transitions set method_version = '0' where not superseded"))
    new_session = writing_sessions(engine)
    started = time.perf_counter()
    with new_session.begin() as session:
        by = account_queries.user_named(session, ENGINEER)
        assert by is not None
        order = recomputations.begin(session, column="", reason=reason, by=by, at=clock.now())
    means = jobs.Means(new_session, reading_sessions(engine), workers, by, clock.now)
    assert jobs.run(means, order.id, told=lambda report: None)
    return time.perf_counter() - started


def processor_s() -> float:
    """Processor time of this process and of those that it has waited for."""
    used = os.times()
    return used.user + used.system + used.children_user + used.children_system


def peak_mb() -> float:
    """Most memory that this process has had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def measured(engine: Engine, processes: int) -> tuple[float, float, float]:
    """Recompute with so many processes; return seconds by clock and processors, and a worker's MB."""
    before = processor_s()
    with jobs.local(processes) as workers:
        started(workers)
    start = processor_s() - before
    before = processor_s()
    with jobs.local(processes) as workers:
        started(workers)
        seconds = recompute(engine, workers, f"With {processes} processes")
        worker_mb = workers.executor.submit(peak_mb).result()
    return seconds, processor_s() - before - start, worker_mb


def started(workers: jobs.Workers) -> None:
    """Wait until every process has started and imported what it needs."""
    for waited in [workers.executor.submit(warm) for _ in range(workers.many)]:
        waited.result()


def warm() -> None:
    """Import what an analysis needs; long enough that each process takes one."""
    for name in ("pandas", "scipy.interpolate", "scipy.linalg", "scipy.ndimage", "scipy.optimize"):
        importlib.import_module(name)
    time.sleep(1.0)


def main(many: int) -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{Path(folder) / 'recompute.db'}")
        transitions = fill(engine)
        print(f"{transitions} transitions of {transitions // 3} cycles")
        head = ("processes", "seconds", "per s", "per processor s", f"{many} take", "MB of a worker")
        print(" | ".join(head))
        for processes in PROCESSES:
            seconds, processor, worker_mb = measured(engine, processes)
            line = (
                f"{processes}",
                f"{seconds:.1f}",
                f"{transitions / seconds:.1f}",
                f"{transitions / processor:.1f}",
                f"{many / transitions * seconds / 60:.1f} min",
                f"{worker_mb:.0f}",
            )
            print(
                " | ".join(cell.rjust(len(name)) for cell, name in zip(line, head, strict=True)), flush=True
            )
        engine.dispose()
    print(f"Most memory of the process that reads and keeps: {peak_mb():.0f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
