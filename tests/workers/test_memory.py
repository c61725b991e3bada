"""A server's memory stays flat and small, however many pages it has made."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import httpx
import pytest
from tests import sites
from tests.crash.killable import Killable
from tests.sites import PLOVER, Site

pytestmark = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")

MOST_MB, GROWTH = 400.0, 1.05
TAG = PLOVER.column.asset_tag
PAGES = (
    "/",
    f"/columns/{TAG}",
    f"/columns/{TAG}/cycles/7",
    f"/columns/{TAG}/results.csv",
    "/log-a-run",
    "/alerts",
    "/alerts/1",
    "/calendar",
    "/library",
    "/records",
)


def resident_mb(server: Killable) -> float:
    """What the server's process holds in memory now."""
    assert server.process is not None
    status = Path(f"/proc/{server.process.pid}/status").read_text(encoding="ascii")
    line = next(line for line in status.splitlines() if line.startswith("VmRSS:"))
    return int(line.split()[1]) / 1e3


@pytest.mark.parametrize("rounds", [10, pytest.param(200, marks=pytest.mark.slow)])
def test_memory_is_flat_over_many_pages(open_site: Callable[..., Site], rounds: int):
    site = open_site(sites.fill_cracked_life)
    server = Killable(site.settings.database_url)
    server.start()
    try:
        with httpx.Client(base_url=server.address, timeout=60) as client:
            client.cookies.update(site.visitor("engineer").client.cookies)

            def ask(times: int) -> float:
                for _ in range(times):
                    for page in PAGES:
                        assert client.get(page).status_code == 200, page
                return resident_mb(server)

            before = ask(max(5, rounds // 4))
            after = ask(rounds)
    finally:
        server.kill()
    assert after < MOST_MB
    assert after <= GROWTH * before
