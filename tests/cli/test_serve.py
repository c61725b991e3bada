"""`beadline serve` as a process of its own: what it has confirmed is there after it was killed."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress

import httpx
import pytest
from sqlalchemy.orm import Session
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.features.records import service as records

START_WITHIN_S = 60.0


@pytest.fixture
def server(site: Site) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    settings = {"BEADLINE_DATABASE_URL": site.settings.database_url, "BEADLINE_PORT": str(port)}
    command = [sys.executable, "-c", "import sys; from beadline.cli import main; sys.exit(main(['serve']))"]
    process = subprocess.Popen(command, env=os.environ | settings)
    address, deadline = f"http://127.0.0.1:{port}", time.monotonic() + START_WITHIN_S
    while True:
        try:
            httpx.get(f"{address}/sign-in")
            break
        except httpx.TransportError:
            assert process.poll() is None, "the server stopped"
            assert time.monotonic() < deadline, "the server did not start"
            time.sleep(0.05)
    yield process, address
    process.kill()
    process.wait()


def test_a_confirmed_run_survives_the_server(server: tuple[subprocess.Popen[bytes], str], site: Site):
    process, address = server
    credentials = bearer(site.token("operator"))
    for number in (1, 2, 3):
        file = builders.make_cycle_file(PLOVER, number)
        answer = httpx.post(
            f"{address}/api/v1/runs",
            data={"column": "Plover"},
            files={"file": (file.filename, file.content)},
            headers=credentials,
            timeout=60,
        )
        if number == 3:
            process.kill()
        assert answer.status_code == 201
    process.wait()
    counts = site.counts()
    assert (counts["cycles"], counts["traces"], counts["judgements"]) == (3, 3, 3)
    again = site.post_run(builders.make_cycle_file(PLOVER, 3), credentials=credentials)
    assert (again.status_code, again.json()["already_recorded"]) == (200, True)


def test_a_server_killed_while_it_works_leaves_whole_runs_or_nothing(
    server: tuple[subprocess.Popen[bytes], str], site: Site
):
    """The kill comes at any moment of a stream of runs; each has all that belongs to it, or nothing."""
    process, address = server
    credentials = bearer(site.token("operator"))
    confirmed = 0
    with suppress(httpx.TransportError):
        for number in range(1, 400):
            file = builders.make_cycle_file(PLOVER, number)
            answer = httpx.post(
                f"{address}/api/v1/runs",
                data={"column": "Plover"},
                files={"file": (file.filename, file.content)},
                headers=credentials,
                timeout=60,
            )
            confirmed += answer.status_code == 201
            if number == 1:
                threading.Timer(0.7, process.kill).start()
    process.wait()
    counts = site.counts()
    assert confirmed > 0
    assert confirmed <= counts["cycles"] <= confirmed + 1  # the last may be stored and its reply lost
    assert counts["cycles"] == counts["traces"] == counts["judgements"]
    assert counts["transitions"] == 2 * counts["cycles"]
    with Session(site.engine) as session:
        assert records.verify(session) is None
