"""An hour of a plant in less time: skids that log runs, people that look, pages that stay open."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field

import httpx
from tests.visitors import bearer

from beadline.demo.recording import TraceFile

PATIENCE_S = 60.0


@dataclass(frozen=True, slots=True)
class Answer:
    """How a request went: what it was, how long it took, and its status; 0 if there was no answer."""

    what: str
    seconds: float
    status: int


@dataclass(slots=True)
class Load:
    """Clients of one server, each a thread; what they are answered comes together in `answers`."""

    address: str
    token: str
    cookie: str
    answers: list[Answer] = field(default_factory=list)
    heard: list[list[str]] = field(default_factory=list)
    stop: threading.Event = field(default_factory=threading.Event)

    def skid(self, column: str, files: Sequence[TraceFile], *, over_s: float) -> threading.Thread:
        """Log runs of a bed, evenly spread over a time."""

        def post(client: httpx.Client, file: TraceFile) -> httpx.Response:
            sent = {"file": (file.filename, file.content)}
            return client.post("/api/v1/runs", data={"column": column}, files=sent)

        works = [(f"log a run ({column})", lambda client, f=file: post(client, f)) for file in files]
        return self._paced(works, over_s=over_s, headers=bearer(self.token))

    def person(self, addresses: Sequence[tuple[str, str]], *, over_s: float) -> threading.Thread:
        """Look at pages, each under a name, evenly spread over a time."""
        works = [(name, lambda client, a=address: client.get(a)) for name, address in addresses]
        return self._paced(works, over_s=over_s, headers={"Cookie": self.cookie})

    def _paced(
        self,
        works: Sequence[tuple[str, Callable[[httpx.Client], httpx.Response]]],
        *,
        over_s: float,
        headers: dict[str, str],
    ) -> threading.Thread:
        def run() -> None:
            began = time.monotonic()
            with httpx.Client(base_url=self.address, headers=headers, timeout=PATIENCE_S) as client:
                for place, (what, work) in enumerate(works):
                    time.sleep(max(0.0, began + over_s * place / len(works) - time.monotonic()))
                    self.answers.append(_answered(what, lambda w=work: w(client)))

        return _started(run)

    def listener(self) -> threading.Thread:
        """Keep a page open that hears news, until all is over."""
        heard: list[str] = []
        self.heard.append(heard)

        def run() -> None:
            with (
                suppress(httpx.TransportError),  # at the end the server is gone
                httpx.Client(base_url=self.address, headers=bearer(self.token), timeout=PATIENCE_S) as client,
                client.stream("GET", "/api/v1/records/news") as stream,
            ):
                for line in stream.iter_lines():
                    if line.startswith('data: {"thing"'):
                        heard.append(json.loads(line.removeprefix("data: "))["said"])
                    if self.stop.is_set():
                        return

        return _started(run)


def _answered(what: str, ask: Callable[[], httpx.Response]) -> Answer:
    began = time.perf_counter()
    try:
        status = ask().status_code
    except httpx.TransportError:
        status = 0
    return Answer(what, time.perf_counter() - began, status)


def _started(run: Callable[[], None]) -> threading.Thread:
    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    return thread
