"""How long it takes to log a run through a server, while others log too.

    python -m tests.benchmarks.log_runs [clients] [runs of each] [servers]

Each client posts runs of a bed of its own, one after the other, to real servers on one SQLite database of
its own. The first runs of each, which load what a server needs, are not counted.
"""

from __future__ import annotations

import multiprocessing
import os
import socket
import sys
import tempfile
import threading
import time
from pathlib import Path

import httpx
import uvicorn
from tests import builders, sites, visitors

from beadline import app
from beadline.demo.plant import PlantPacking
from beadline.demo.recording import TraceFile
from beadline.features.accounts import queries as account_queries
from beadline.settings import Settings
from beadline.store.engine import make_engine, writing_sessions

NOT_COUNTED = 2


def fill(url: str, beds: list[PlantPacking]) -> str:
    """Record the beds; return a token that may log runs."""
    sites.fill_people(url)
    engine = make_engine(url)
    with writing_sessions(engine).begin() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        for bed in beds:
            builders.make_packing(session, bed, by=engineer)
        token = visitors.token_of(session, engineer)
    engine.dispose()
    return token


def serve(url: str, port: int) -> None:
    """Run a server."""
    uvicorn.run(app.build(Settings(database_url=url)), port=port, log_level="warning")


def free_port() -> int:
    """A port on which nobody listens."""
    with socket.create_server(("127.0.0.1", 0)) as found:
        return int(found.getsockname()[1])


def wait_for(address: str) -> None:
    """Wait until a server answers."""
    for _ in range(600):
        try:
            httpx.get(f"{address}/health")
            return
        except httpx.TransportError:
            time.sleep(0.1)
    raise TimeoutError(address)


def post(address: str, token: str, bed: PlantPacking, files: list[TraceFile], took: list[float]) -> None:
    """Post the runs of a bed, one after the other."""
    with httpx.Client(timeout=120, headers=visitors.bearer(token)) as client:
        for place, file in enumerate(files):
            before = time.perf_counter()
            answer = client.post(
                f"{address}/api/v1/runs",
                data={"column": bed.column.name},
                files={"file": (file.filename, file.content)},
            )
            assert answer.status_code == 201, answer.text
            if place >= NOT_COUNTED:
                took.append(time.perf_counter() - before)


def log_all(
    addresses: list[str], token: str, beds: list[PlantPacking], files: list[list[TraceFile]]
) -> list[float]:
    """Let all clients post at once; return how long each counted run took [s]."""
    took: list[float] = []
    threads = [
        threading.Thread(target=post, args=(addresses[n % len(addresses)], token, bed, files[n], took))
        for n, bed in enumerate(beds)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(took)


def main(clients: int, runs: int, servers: int) -> None:
    """Print median and 95th percentile."""
    beds = [builders.a_bed(f"Bed {n}") for n in range(1, clients + 1)]
    files = [[builders.make_cycle_file(bed, n) for n in range(1, runs + 1)] for bed in beds]
    with tempfile.TemporaryDirectory() as folder:
        url = f"sqlite:///{Path(folder) / 'runs.db'}"
        token = fill(url, beds)
        ports = [free_port() for _ in range(servers)]
        start = multiprocessing.get_context("spawn").Process
        running = [start(target=serve, args=(url, port), daemon=True) for port in ports]
        for one in running:
            one.start()
        addresses = [f"http://127.0.0.1:{port}" for port in ports]
        for address in addresses:
            wait_for(address)
        before = time.perf_counter()
        took = log_all(addresses, token, beds, files)
        seconds = time.perf_counter() - before
        for one in running:
            one.terminate()
            one.join()
    median, late = (took[int(part * len(took))] * 1e3 for part in (0.5, 0.95))
    print(f"{clients} clients, {servers} servers: median {median:.0f} ms, 95th percentile {late:.0f} ms")
    used = os.times()
    processor = used.children_user + used.children_system
    print(f"{clients * runs / seconds:.1f} runs a second; the servers used {processor:.1f} s of processor")


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[1:]]
    main(*(given + [4, 20, 1][len(given) :]))
