"""The store at the size of a network of plants: how large, how fast its pages, how fast a run is logged.

    python -m tests.benchmarks.fleet URL [packings] [cycles of each] [clients] [servers]

URL is an empty database, sqlite:///FILE or postgresql+psycopg://..., or one that this filled before.
`tests/fleet` says which of its lives are true and which are copies. Pages are asked in-process, the best
and the median of some; runs are posted by clients to real servers, each client to a bed of its own. Times
by the clock mean little while others use the machine, so the processor time of this process stands beside
them, without the database's.
"""

from __future__ import annotations

import multiprocessing
import resource
import statistics
import sys
import time
from collections.abc import Callable

from sqlalchemy import Engine, text
from tests import builders, fleet
from tests.benchmarks.log_runs import free_port, log_all, serve, wait_for
from tests.fleet.lives import beds_of
from tests.sites import Site

from beadline.store.engine import make_engine

TRIES = 9
RUNS = 8
TABLES = ("packings", "cycles", "transitions", "traces", "records")
PAGES = {
    "Columns": "/",
    "Column": "/columns/{tag}",
    "Cycle, as a part of Column": "/columns/{tag}/cycles/100",
    "Log a run": "/log-a-run",
    "Alerts": "/alerts",
    "Calendar": "/calendar",
    "Library": "/library",
    "Records": "/records",
    "News, one look": "/api/v1/records/news?after=5",
}


def is_filled(url: str) -> bool:
    """Tell whether there are tables in the database."""
    engine = make_engine(url)
    with engine.connect() as connection:
        found = engine.dialect.has_table(connection, "cycles")
    engine.dispose()
    return found


def tell_size(engine: Engine) -> None:
    """Print how many rows there are, and what they take on disk."""
    pages = "select page_count * page_size from pragma_page_count, pragma_page_size"
    whole = pages if engine.dialect.name == "sqlite" else "select pg_database_size(current_database())"
    with engine.connect() as connection:
        many = {name: connection.scalar(text(f"select count(*) from {name}")) or 0 for name in TABLES}
        size = connection.scalar(text(whole)) or 0
        traces = connection.scalar(text("select sum(length(content)) from traces")) or 0
    print(", ".join(f"{count} {name}" for name, count in many.items()))
    share = {name: size / many[name] / 1e3 for name in ("transitions", "cycles")}
    print(
        f"{size / 1e9:.2f} GB: {share['transitions']:.1f} kB a transition, {share['cycles']:.1f} kB a cycle, "
        f"of which {traces / many['traces'] / 1e3:.1f} kB are its compressed trace"
    )


def timed(work: Callable[[], object]) -> tuple[list[float], list[float]]:
    """How long it takes by the clock and by the processor [ms], each sorted."""
    work()
    clocks, processors = [], []
    for _ in range(TRIES):
        clock, processor = time.perf_counter(), time.process_time()
        work()
        clocks.append((time.perf_counter() - clock) * 1e3)
        processors.append((time.process_time() - processor) * 1e3)
    return sorted(clocks), sorted(processors)


def measure_pages(site: Site, tag: str) -> None:
    """Print the times of pages, and what this process holds after them."""
    visitor = site.visitor("engineer")
    for name, page in PAGES.items():
        path = page.format(tag=tag)
        content = visitor.page(path)
        clocks, processors = timed(lambda asked=path: visitor.page(asked))  # type: ignore[misc]
        print(
            f"{name:28} {clocks[0]:6.0f} ms at best, {statistics.median(clocks):6.0f} at the median; "
            f"processor {processors[0]:6.0f} at best; {len(content) / 1e3:.0f} kB"
        )
    held = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3
    print(f"this process, client and server in one, held {held:.0f} MB at most")


def measure_logging(url: str, token: str, logged: dict[str, int], servers: int) -> None:
    """Print how long a run takes to be logged, and the processor time of the servers.

    `logged` holds, by column, how many runs an earlier measurement has posted.
    """
    beds = [builders.a_bed(name) for name in logged]
    files = [
        [builders.make_cycle_file(bed, many + n) for n in range(1, RUNS + 1)]
        for bed, many in zip(beds, logged.values(), strict=True)
    ]
    ports = [free_port() for _ in range(servers)]
    start = multiprocessing.get_context("spawn").Process
    running = [start(target=serve, args=(url, port), daemon=True) for port in ports]
    for one in running:
        one.start()
    addresses = [f"http://127.0.0.1:{port}" for port in ports]
    for address in addresses:
        wait_for(address)
    took = log_all(addresses, token, beds, files)
    for one in running:
        one.terminate()
        one.join()
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    median, late = (took[int(part * len(took))] * 1e3 for part in (0.5, 0.95))
    processor = (used.ru_utime + used.ru_stime) / len(beds) / RUNS * 1e3
    print(
        f"{len(beds)} clients, {servers} servers: a run is logged in {median:.0f} ms at the median, "
        f"95th percentile {late:.0f} ms; processor {processor:.0f} ms a run, the servers' start included; "
        f"a server held {used.ru_maxrss / 1e3:.0f} MB at most"
    )


def main(url: str, packings: int, cycles: int, clients: int, servers: int) -> None:
    """Fill the database if it is empty, and print what was measured."""
    size = fleet.Size(packings=packings, columns=max(packings // 2, 4), cycles=cycles)
    if not is_filled(url):
        fleet.fill(url, size, progress=True)
    site = Site(url)
    tell_size(site.engine)
    measure_pages(site, beds_of(size)[0].column.asset_tag)
    with site.engine.connect() as connection:
        query = (
            "select name, last_cycle from columns join packings on column_id = columns.id "
            "join bed_states on packing_id = packings.id "
            "where unpacked_at is null and name like 'Fleet%' order by name limit :many"
        )
        logged = {name: last - cycles for name, last in connection.execute(text(query), {"many": clients})}
    token = site.token("operator")
    site.close()
    measure_logging(url, token, logged, servers)


if __name__ == "__main__":
    given = [int(one) for one in sys.argv[2:]]
    main(sys.argv[1], *(given + [1000, 200, 16, 2][len(given) :]))
