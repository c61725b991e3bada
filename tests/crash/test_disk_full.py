"""A full disk: it is said clearly, looking goes on, and work goes on as soon as there is room."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from httpx import Response
from sqlalchemy import event
from tests import builders, sites
from tests.databases import Databases
from tests.sites import PLOVER, Site
from tests.visitors import bearer

FILE = builders.make_cycle_file(PLOVER, 1)
BLANKS = (b" " * 1000 + b"\n") * 1500  # more than is kept in memory while a file comes


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A file system of 24 MB in memory; only the superuser can mount one."""
    folder = Path(tempfile.mkdtemp(prefix="beadline-small-"))
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=24m", "tmpfs", folder], capture_output=True)
    if mounted.returncode:
        folder.rmdir()
        pytest.skip("a small disk can't be mounted here")
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)
    folder.rmdir()


def fill(disk: Path) -> Path:
    """Leave no room on a disk; the file goes away again when it is unlinked."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file:
        try:
            while True:
                file.write(bytes(4096))
        except OSError:
            return filler


def assert_full(answer: Response) -> None:
    problem = answer.json()
    assert (answer.status_code, problem["code"]) == (507, "disk-full"), problem
    assert "nothing was stored" in problem["title"]
    assert "make room" in problem["mend"]
    assert int(answer.headers["retry-after"]) > 0


def test_a_database_that_may_not_grow_says_so_and_goes_on_when_it_may(site: Site):
    """SQLite's own limit of pages gives the error of a full disk; this needs no superuser."""
    if site.engine.dialect.name != "sqlite":
        pytest.skip("a limit of SQLite's")
    room = {"pages": 1}  # fewer than there are: none can be added

    @event.listens_for(site.engine, "connect")
    def _limit(connection, _record):
        connection.execute(f"pragma max_page_count = {room['pages']}")

    credentials = bearer(site.token("operator"))
    viewer = site.visitor("viewer")
    site.engine.dispose()
    before = site.counts()
    assert_full(site.post_run(FILE, credentials=credentials))
    assert "Plover" in viewer.page("/")
    assert site.counts() == before
    room["pages"] = 1_000_000
    site.engine.dispose()
    assert site.post_run(FILE, credentials=credentials).status_code == 201


@pytest.mark.every_dialect
def test_a_full_disk_is_said_and_work_goes_on_when_there_is_room(databases: Databases, small_disk: Path):
    with databases.on_disk(small_disk, sites.fill_beds) as url:
        site = Site(url)
        credentials, viewer = bearer(site.token("operator")), site.visitor("viewer")
        before, filler = site.counts(), fill(small_disk)
        for _ in range(2):
            assert_full(site.post_run(FILE, credentials=credentials))
        assert "Plover" in viewer.page("/")
        assert site.counts() == before
        filler.unlink()
        assert site.post_run(FILE, credentials=credentials).status_code == 201
        site.close()


def test_a_file_that_can_not_be_laid_aside_while_it_comes(
    site: Site, small_disk: Path, monkeypatch: pytest.MonkeyPatch
):
    """Larger files go to a temporary file first, on a disk that may be another one."""
    monkeypatch.setattr(tempfile, "tempdir", str(small_disk))
    filler = fill(small_disk)
    large = ("run.csv", FILE.content + BLANKS)
    credentials = bearer(site.token("operator"))
    assert_full(site.post_run(large, credentials=credentials))
    filler.unlink()
    assert site.post_run(large, credentials=credentials).status_code == 201
