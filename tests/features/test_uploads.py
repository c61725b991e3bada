"""No upload is larger than the server takes, whatever it says of itself; and none fills the memory."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor

import pytest
from tests import builders, sites
from tests.sites import PLOVER, Site
from tests.visitors import bearer

BOUNDARY = "heron"
HEAD = (
    f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="column"\r\n\r\nPlover\r\n'
    f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="file"; filename="run.csv"\r\n\r\n'
).encode()
END = f"\r\n--{BOUNDARY}--\r\n".encode()
ROWS = b"0.0100,3.7272,-0.98,7.001\n" * 40_000  # about 1 MB


class Body:
    """A form with a file of so many MB, made while it is sent; it counts how much was taken."""

    def __init__(self, megabytes: int) -> None:
        self.megabytes = megabytes
        self.taken = 0

    def __iter__(self) -> Iterator[bytes]:
        yield HEAD
        for _ in range(self.megabytes):
            self.taken += 1
            yield ROWS
        yield END


def post(site: Site, body: Body, **headers: str):
    credentials = bearer(site.token("operator"))
    kind = {"content-type": f"multipart/form-data; boundary={BOUNDARY}"}
    before = site.counts()
    answer = site.client.post("/api/v1/runs", content=iter(body), headers=credentials | kind | headers)
    assert site.counts() == before
    return answer


def assert_refused(answer) -> None:
    assert answer.status_code == 413, answer.text
    problem = answer.json()
    assert (problem["code"], problem["where"]) == ("too-large", "file")
    assert "64 MB" in problem["title"]
    assert "BEADLINE_MAX_UPLOAD_MB" in problem["mend"]


def test_a_file_of_200_mb_is_refused_by_its_length_alone(site: Site):
    body = Body(200)
    assert_refused(post(site, body, **{"content-length": "210000000"}))


def test_a_file_of_200_mb_that_does_not_say_its_length_is_refused(site: Site):
    assert_refused(post(site, Body(200)))


def test_a_file_of_200_mb_that_says_it_is_small_is_refused(site: Site):
    assert_refused(post(site, Body(200), **{"content-length": "1000"}))


def test_nothing_beyond_the_limit_is_read(site: Site):
    """An ASGI server hands the body over in parts; after the limit no further part is asked for."""
    asked, sent = 0, []

    async def receive():
        nonlocal asked
        asked += 1
        first = HEAD if asked == 1 else b""
        return {"type": "http.request", "body": first + ROWS, "more_body": True}

    async def send(message):
        sent.append(message)

    headers = bearer(site.token("operator")) | {"content-type": f"multipart/form-data; boundary={BOUNDARY}"}
    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": "POST",
        "path": "/api/v1/runs",
        "raw_path": b"/api/v1/runs",
        "root_path": "",
        "query_string": b"",
        "scheme": "http",
        "server": ("testserver", 80),
        "client": ("testclient", 1),
        "headers": [(k.lower().encode(), v.encode()) for k, v in headers.items()]
        + [(b"host", b"testserver")],
        "state": {},
    }
    with ThreadPoolExecutor(
        1
    ) as alone:  # a thread of its own, since a browser test may have left a loop in this one
        alone.submit(asyncio.run, site.app(scope, receive, send)).result()
    assert sent[0]["status"] == 413
    assert asked <= 64 * 1_000_000 // len(ROWS) + 2


def test_a_small_limit_holds_for_pages_too(open_site: Callable[..., Site]):
    site = open_site(sites.fill_beds, max_upload_mb=1)
    operator = site.visitor("operator")
    answer = operator.post("/log-a-run", {"packing": "1"}, file=("run.csv", ROWS * 3))
    assert answer.status_code == 413
    assert "larger than the 1 MB" in answer.text


@pytest.mark.parametrize("copies", [1, 30])
def test_a_file_below_the_limit_is_taken(open_site: Callable[..., Site], copies: int):
    site = open_site(sites.fill_beds, max_upload_mb=1)
    file = builders.make_cycle_file(PLOVER, 1)
    padded = file.content + b"\n" * (30_000 * copies - len(file.content) % 30_000)
    answer = site.post_run(("run.csv", padded), credentials=bearer(site.token("operator")))
    assert answer.status_code == 201, answer.text
