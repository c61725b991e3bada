"""`beadline import-history` against a living server, also one that is killed while it works."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from sqlalchemy import text
from tests import builders
from tests.builders import HEALTHY
from tests.sites import PLOVER, Site

import beadline
from beadline.cli import main
from beadline.store.engine import make_engine

Captured = pytest.CaptureFixture[str]
FIRST = HEALTHY + 1
COMMAND = [sys.executable, "-c", "import sys; from beadline.cli import main; sys.exit(main(sys.argv[1:]))"]
ENVIRONMENT = {"PYTHONPATH": str(Path(beadline.__file__).parents[1])}
SHEET = "Cycle;Started;Height;As\n21;2025-01-28;0,31;1,19\n22;2025-01-29;0,30;1,2\n23;2025-01-30;soon;1,2\n"


@pytest.fixture
def sheet(tmp_path: Path) -> str:
    path = tmp_path / "old results.csv"
    path.write_text(SHEET)
    return str(path)


def test_a_look_tells_each_row_and_records_nothing(
    server: str, life: Site, sheet: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("engineer"))
    to = ("import-history", sheet, "--column", "Plover", "--server", server, "--set", "Height=hetp:mm")
    assert main([*to, "--dry-run"]) == 1
    told = capsys.readouterr().out
    assert "Row 4, cycle 23: refused. “soon” is no number." in told
    assert "rows 2 accepted, 0 there already, 1 refused, 0 left out. Nothing was recorded" in told
    assert main([*to, "--reason", "paper"]) == 1
    assert "One row is refused." in capsys.readouterr().err
    assert life.counts()["cycles"] == HEALTHY
    assert main([*to, "--reason", "paper", "--leave-out-refused", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["recorded"] == 2
    assert main([*to, "--reason", "paper", "--leave-out-refused"]) == 0
    assert "2 there already" in capsys.readouterr().out


def test_a_column_that_is_not_there_is_named(
    server: str, life: Site, sheet: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("engineer"))
    assert (
        main(["import-history", sheet, "--column", "Plover", "--server", server, "--set", "H=hetp:mm"]) == 1
    )
    assert "no column 'H'" in capsys.readouterr().err


@contextmanager
def a_process(url: str, folder: Path) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    """`beadline serve` as a process of its own, that can be killed."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    environment = (
        os.environ
        | ENVIRONMENT
        | {
            "BEADLINE_DATABASE_URL": url,
            "BEADLINE_PORT": str(port),
            "BEADLINE_SEND_NOTICES": "false",
        }
    )
    with (folder / "told").open("wb") as told:
        process = subprocess.Popen([*COMMAND, "serve"], env=environment, stdout=told)
    address = f"http://127.0.0.1:{port}"
    try:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                httpx.get(f"{address}/health", timeout=1, verify=False)
                break
            except httpx.TransportError:
                time.sleep(0.1)
        yield process, address
    finally:
        process.kill()
        process.wait()


def stored(url: str) -> tuple[int, int, int]:
    """Cycles, transitions and judgements."""
    engine = make_engine(url)
    with engine.connect() as connection:
        tables = ("cycles", "transitions", "judgements")
        found = [connection.execute(text(f"select count(*) from {one}")).scalar_one() for one in tables]
    engine.dispose()
    return found[0], found[1], found[2]


def test_a_server_killed_in_the_midst_has_recorded_all_rows_or_none(
    life: Site, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    url, rows = life.settings.database_url, 150
    if not url.startswith("sqlite"):
        pytest.skip("who writes is seen by the lock of SQLite")
    lines = [f"{FIRST + n};2025-02-{1 + n // 20:02d} {n % 20:02d}:00;0.3{n % 9};1.2" for n in range(rows)]
    path = tmp_path / "ten years.csv"
    path.write_text("\n".join(["Cycle;Date;HETP [mm];As", *lines]))
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("engineer"))
    send = ["import-history", str(path), "--column", "Plover", "--reason", "paper", "--server"]
    before = stored(url)
    with (
        a_process(url, tmp_path) as (process, address),
        subprocess.Popen([*COMMAND, *send, address], env=os.environ | ENVIRONMENT) as client,
    ):
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline and not _is_writing(url):
            time.sleep(0.002)
        time.sleep(0.2)  # all of it takes more than a second
        process.send_signal(signal.SIGKILL)
        assert client.wait(timeout=60) == 1
    assert stored(url) == before
    with a_process(url, tmp_path) as (_, address):
        assert main([*send, address]) == 0
        assert main([*send, address]) == 0
    assert stored(url) == (before[0] + rows, before[1] + rows, before[2] + rows)


def _is_writing(url: str) -> bool:
    """Whether somebody holds the lock of writers."""
    connection = sqlite3.connect(url.removeprefix("sqlite:///"), timeout=0)
    try:
        connection.execute("begin immediate")
        connection.rollback()
    except sqlite3.OperationalError:
        return True
    finally:
        connection.close()
    return False


@pytest.fixture
def traces(tmp_path: Path) -> Path:
    """A folder of the bed's next six runs, named by batch; the skid's files tell their starts."""
    folder = tmp_path / "old traces"
    (folder / "2025").mkdir(parents=True)
    for number in range(FIRST, FIRST + 6):
        file = builders.make_cycle_file(PLOVER, number)
        (folder / "2025" / f"B-{number:03d}_{99 - number}_cycle.csv").write_bytes(file.content)
    (folder / "notes.txt").write_text("Traces before the new skid")
    (folder / ".hidden").write_text("no trace")
    return folder


def test_a_folder_of_traces_is_recorded_oldest_first_and_told_file_by_file(
    server: str, life: Site, traces: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("engineer"))
    send = ["import-history", str(traces), "--column", "Plover", "--server", server]
    assert main([*send, "--dry-run"]) == 1
    told = capsys.readouterr().out
    assert "notes.txt: refused. There is no row with at least two numbers" in told
    assert "1 refused, 6 would be recorded." in told
    assert life.counts()["cycles"] == HEALTHY
    assert main([*send, "--pattern", "{batch}_*_cycle.csv", "--json", "--reason", "before the new skid"]) == 1
    answers = {one["filename"]: one for one in json.loads(capsys.readouterr().out)}
    assert "does not fit the pattern" in answers["notes.txt"]["problem"]["title"]
    recorded = [one for one in answers.values() if one["status"] == "recorded"]
    assert [one["filename"][:5] for one in sorted(recorded, key=lambda one: one["cycle"])] == [
        f"B-{number:03d}" for number in range(FIRST, FIRST + 6)
    ]
    (traces / "notes.txt").unlink()
    assert main(send) == 0
    assert "6 there already." in capsys.readouterr().out


def test_a_folder_goes_on_after_the_server_was_killed(
    life: Site, traces: Path, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    """The server dies while it takes a batch: it is whole or not there, and the next start goes on."""
    url = life.settings.database_url
    if not url.startswith("sqlite"):
        pytest.skip("who writes is seen by the lock of SQLite")
    (traces / "notes.txt").unlink()
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("engineer"))
    send = ["import-history", str(traces), "--column", "Plover", "--server"]
    with (
        a_process(url, tmp_path) as (process, address),
        subprocess.Popen([*COMMAND, *send, address], env=os.environ | ENVIRONMENT) as client,
    ):
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline and not _is_writing(url):
            time.sleep(0.002)
        process.send_signal(signal.SIGKILL)
        assert client.wait(timeout=60) == 1
    cycles, _, judgements = stored(url)
    assert cycles == judgements == HEALTHY
    with a_process(url, tmp_path) as (_, address):
        assert main([*send, address]) == 0
    cycles, _, judgements = stored(url)
    assert cycles == judgements == HEALTHY + 6


def test_traces_without_a_start_take_it_from_their_names(
    server: str, life: Site, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("engineer"))
    folder = tmp_path / "undated"
    folder.mkdir()
    file = builders.make_cycle_file(PLOVER, FIRST, skid="semicolon comma")
    undated = re.sub(rb"\d{2}\.\d{2}\.\d{4}[^;\r\n]*|\d{4}-\d\d-\d\d[^;\r\n]*", b"", file.content)
    (folder / "0042_20250219_strip.csv").write_bytes(undated)
    send = ["import-history", str(folder), "--column", "Plover", "--server", server]
    assert main(send) == 1
    assert "Neither the file nor its name tells when the run started." in capsys.readouterr().out
    assert main([*send, "--pattern", "{number}_{date}_*", "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)[0]
    assert (answer["cycle"], answer["started_at"][:10]) == (42, "2025-02-19")
