"""Pages hear what another server logged; open pages, however many, leave connections to the others."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Iterator

import httpx
import pytest
from tests import builders
from tests.browser.serving import served
from tests.crash.killable import Killable
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.settings import Settings

pytestmark = pytest.mark.every_dialect

NEWS = "/api/v1/records/news"
WITHIN_S = 60.0
STREAMS, CONNECTIONS = 60, 2


@pytest.fixture
def two(site: Site) -> Iterator[tuple[Killable, Killable]]:
    """Two servers, each a process of its own, on one database."""
    servers = Killable(site.settings.database_url), Killable(site.settings.database_url)
    for server in servers:
        server.start()
    yield servers
    for server in servers:
        server.kill()


async def heard(answer: httpx.Response) -> AsyncIterator[tuple[str, str]]:
    """Event and data of a stream, as they come."""
    event = ""
    async for line in answer.aiter_lines():
        name, _, value = line.partition(": ")
        if name == "event":
            event = value
        elif name == "data":
            yield event, value


async def cycle_heard(stream: AsyncIterator[tuple[str, str]]) -> str:
    """Wait for news of a cycle."""
    async for event, data in stream:
        if event == "news" and (told := json.loads(data))["thing"] == "cycle":
            return str(told["said"])
    raise AssertionError("the stream ended without news")


async def post(client: httpx.AsyncClient, address: str) -> None:
    file = builders.make_cycle_file(PLOVER, 1)
    answer = await client.post(
        f"{address}/api/v1/runs",
        data={"column": PLOVER.column.name},
        files={"file": (file.filename, file.content)},
    )
    assert answer.status_code == 201, answer.text


def test_a_page_of_one_server_hears_of_a_run_that_another_one_logged(
    site: Site, two: tuple[Killable, Killable]
):
    async def listen() -> str:
        headers = bearer(site.token("operator"))
        async with (
            httpx.AsyncClient(headers=headers, timeout=WITHIN_S) as client,
            client.stream("GET", f"{two[1].address}{NEWS}") as answer,
        ):
            stream = heard(answer)
            assert (await anext(stream))[0] == "here"
            await post(client, two[0].address)
            return await asyncio.wait_for(cycle_heard(stream), WITHIN_S)

    assert asyncio.run(listen()).startswith("Logged cycle 1 of Plover")


def test_sixty_open_pages_leave_two_connections_free_for_the_others(site: Site):
    """Each holds a connection only while it looks; all hear of the run that is logged meanwhile."""
    settings = Settings(
        database_url=site.settings.database_url, database_connections=CONNECTIONS, live_seconds=300
    )

    async def listen(address: str) -> list[str]:
        headers, limits = bearer(site.token("operator")), httpx.Limits(max_connections=STREAMS + 5)
        async with httpx.AsyncClient(headers=headers, timeout=WITHIN_S, limits=limits) as client:

            async def one() -> str:
                async with client.stream("GET", f"{address}{NEWS}") as answer:
                    stream = heard(answer)
                    assert (await anext(stream))[0] == "here"
                    ready.release()
                    return await cycle_heard(stream)

            ready = asyncio.Semaphore(0)
            pages = [asyncio.create_task(one()) for _ in range(STREAMS)]
            for _ in pages:
                await asyncio.wait_for(ready.acquire(), WITHIN_S)
            assert (await client.get(f"{address}/api/v1/columns")).status_code == 200
            await post(client, address)
            return await asyncio.wait_for(asyncio.gather(*pages), WITHIN_S)

    with served(settings) as address:
        said = asyncio.run(listen(address))
    assert len(said) == STREAMS
    assert all(one.startswith("Logged cycle 1 of Plover") for one in said)
