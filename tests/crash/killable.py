"""`beadline serve` as a process of its own that is killed without warning and started again in a moment."""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
from multiprocessing.context import ForkServerProcess

import httpx
from tests.serving import free_port

START_WITHIN_S = 60.0
UNHURRIED = ("BEADLINE_CHANGES_PER_MINUTE", "BEADLINE_CHANGES_PER_MINUTE_OF_ADDRESS")
FORKED = multiprocessing.get_context("forkserver")
FORKED.set_forkserver_preload(["tests.crash.warm"])


class Killable:
    """A server on a database."""

    def __init__(self, url: str, **settings: str) -> None:
        self.port = free_port()
        self.settings = {"BEADLINE_DATABASE_URL": url, "BEADLINE_PORT": str(self.port), **settings}
        self.settings |= dict.fromkeys(UNHURRIED, "100000")
        self.process: ForkServerProcess | None = None

    @property
    def address(self) -> str:
        """Where it answers."""
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Start it and wait until it answers."""
        self.process = FORKED.Process(target=_serve, args=(self.settings,), daemon=True)
        self.process.start()
        deadline = time.monotonic() + START_WITHIN_S
        with httpx.Client() as client:  # one, since each costs more than the server's start
            while True:
                try:
                    client.get(f"{self.address}/health")
                    return
                except httpx.TransportError:
                    assert self.process.exitcode is None, "the server stopped"
                    assert time.monotonic() < deadline, "the server did not start"
                    time.sleep(0.02)

    def kill(self) -> None:
        """End it with SIGKILL, as a power cut would."""
        if self.process is not None:
            self.process.kill()
            self.process.join()


def _serve(settings: dict[str, str]) -> None:
    from beadline.cli import main

    os.environ.update(settings)
    sys.exit(main(["serve"]))
