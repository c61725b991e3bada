"""SIGTERM to a real `beadline serve`: what is under way is answered, streams end, and it exits with 0."""

from __future__ import annotations

import signal
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from tests import builders
from tests.processes import WITHIN_S, Served, served, wait_until
from tests.sites import PLOVER, Site
from tests.visitors import bearer


@pytest.fixture
def serving(life: Site, tmp_path: Path) -> Iterator[Served]:
    """A server on a bed that has run its healthy cycles."""
    with served(life.settings.database_url, tmp_path / "log") as server:
        yield server


def a_run(credentials: dict[str, str]) -> bytes:
    """The bytes of a request that logs the next run."""
    file = builders.make_cycle_file(PLOVER, builders.HEALTHY + 1)
    request = httpx.Request(
        "POST",
        "http://127.0.0.1/api/v1/runs",
        data={"column": PLOVER.column.name},
        files={"file": (file.filename, file.content)},
        headers=credentials,
    )
    head = [f"{name}: {value}" for name, value in request.headers.items()]
    return "\r\n".join(["POST /api/v1/runs HTTP/1.1", *head, "", ""]).encode() + request.read()


def test_a_server_that_is_told_to_stop_finishes_what_is_under_way(serving: Served, life: Site):
    process = serving.process
    credentials = bearer(life.token("operator"))
    heard: list[str] = []

    def listen() -> None:
        with httpx.stream(
            "GET", f"{serving.address}/api/v1/records/news", headers=credentials, timeout=WITHIN_S
        ) as stream:
            heard.extend(stream.iter_lines())

    listening = threading.Thread(target=listen)
    listening.start()
    run = a_run(credentials)
    with socket.create_connection(("127.0.0.1", serving.port), timeout=WITHIN_S) as skid:
        skid.sendall(run[: len(run) // 2])
        time.sleep(0.5)
        process.send_signal(signal.SIGTERM)
        listening.join(timeout=WITHIN_S)  # the stream would have gone on for a quarter of an hour
        assert not listening.is_alive()
        wait_until(lambda: not serving.answers())
        assert process.poll() is None
        skid.sendall(run[len(run) // 2 :])
        reply = b"".join(iter(lambda: skid.recv(65536), b""))
    assert reply.startswith(b"HTTP/1.1 201")
    assert process.wait(timeout=WITHIN_S) == 0
    assert heard[0].startswith("retry:")
    assert life.counts()["cycles"] == builders.HEALTHY + 1
    lines = {(line["route"], line["status"], line["user"]) for line in serving.logged()}
    assert lines >= {
        ("/api/v1/runs", 201, "operator"),
        ("/api/v1/records/news", 200, "operator"),
    }


def test_ctrl_c_ends_it_as_well(serving: Served):
    serving.process.send_signal(signal.SIGINT)
    assert serving.process.wait(timeout=WITHIN_S) == 0
