"""`beadline serve` as the process that it is for people, with its log in a file."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import httpx
from tests.serving import free_port

SERVE = "import sys; from beadline.cli import main; sys.exit(main(['serve']))"
WITHIN_S = 60.0


@dataclass(frozen=True, slots=True)
class Served:
    """A server: its process, where it listens, and its log."""

    process: subprocess.Popen[bytes]
    port: int
    log: Path

    @property
    def address(self) -> str:
        """Where it answers."""
        return f"http://127.0.0.1:{self.port}"

    def answers(self) -> bool:
        """Whether it takes connections."""
        try:
            # without TLS, whose preparation would cost fifty times the answer
            return httpx.get(f"{self.address}/health", verify=False).status_code == 200
        except httpx.TransportError:
            return False

    def logged(self) -> list[dict[str, Any]]:
        """What its log says, line by line."""
        return [json.loads(line) for line in self.log.read_text().splitlines()]


@contextmanager
def served(url: str, log: Path, **settings: str) -> Iterator[Served]:
    """Serve a database until the end."""
    port = free_port()
    given = {"BEADLINE_DATABASE_URL": url, "BEADLINE_PORT": str(port), **settings}
    with log.open("wb") as file:
        process = subprocess.Popen(
            [sys.executable, "-c", SERVE], env=os.environ | given, stdout=subprocess.DEVNULL, stderr=file
        )
    server = Served(process, port, log)

    def up() -> bool:
        assert process.poll() is None, log.read_text()
        return server.answers()

    try:
        wait_until(up)
        yield server
    finally:
        process.kill()
        process.wait()


def wait_until(true: Callable[[], bool]) -> None:
    """Wait for something that comes soon."""
    deadline = time.monotonic() + WITHIN_S
    while not true():
        assert time.monotonic() < deadline
        time.sleep(0.05)
