"""Skids that log run after run, send again what nobody confirmed, and remember what was confirmed."""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass

import httpx
from tests import builders, sites
from tests.sites import DOTTEREL, PLOVER

from beadline.demo.plant import PlantPacking
from beadline.features.accounts import queries as account_queries
from beadline.store.engine import make_engine, writing_sessions

BEDS = [
    builders.a_cracking_bed(name)
    for name in ("Avocet", "Curlew", "Godwit", "Knot", "Lapwing", "Ruff", "Sanderling", "Snipe", "Stilt")
]
LIFE = builders.HEALTHY + 6  # the alert comes, and grows worse, within these
PAUSE_S = 0.2


@dataclass(frozen=True, slots=True)
class Confirmed:
    """What a reply said: the run is recorded, and the alert that it raised or worsened, if any."""

    column: str
    sha256: str
    alert: int | None


class Skid:
    """One skid: it runs its beds one after the other."""

    def __init__(self, beds: Sequence[PlantPacking], *, first: int = 1) -> None:
        self.runs = self._runs(beds, first)
        self.next = next(self.runs)
        self.confirmed: list[Confirmed] = []

    @staticmethod
    def _runs(beds: Sequence[PlantPacking], first: int) -> Iterator[tuple[PlantPacking, int]]:
        for bed in beds:
            for number in range(first, LIFE + 1):
                yield bed, number
            first = 1

    def work(self, address: str, credentials: dict[str, str]) -> None:
        """Log runs until the server is gone; the run that nobody confirmed comes first the next time."""
        client = httpx.Client(base_url=address, headers=credentials, timeout=60)
        with client, suppress(httpx.TransportError):
            while True:
                self._log(client)

    def _log(self, client: httpx.Client) -> None:
        bed, number = self.next
        file = builders.make_cycle_file(bed, number)
        answer = client.post(
            "/api/v1/runs", data={"column": bed.column.name}, files={"file": (file.filename, file.content)}
        )
        if answer.status_code == 503:  # the database is away; the server says so and nothing is stored
            assert answer.json()["code"] == "database-unavailable"
            time.sleep(PAUSE_S)
            return
        assert answer.status_code in (200, 201), answer.text
        reply = answer.json()
        raised = reply["alert"]["id"] if reply["alert"] else None
        self.confirmed.append(Confirmed(bed.column.name, reply["trace_sha256"], raised))
        self.next = next(self.runs)


def two() -> list[Skid]:
    """Two skids that log at once: one whose bed is about to crack, one whose bed is fresh."""
    return [Skid([PLOVER, *BEDS[::2]], first=builders.HEALTHY + 1), Skid([DOTTEREL, *BEDS[1::2]])]


def fill_skids(url: str) -> None:
    """Add the beds that the two skids will run to one that has run its healthy cycles."""
    sites.fill_healthy_life(url)
    engine = make_engine(url)
    with writing_sessions(engine).begin() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        for bed in BEDS:
            builders.make_packing(session, bed, by=engineer)
    engine.dispose()
