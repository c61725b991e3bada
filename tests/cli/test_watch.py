"""A drop folder, watched by a real process that posts real files to a real server over HTTP."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from tests import builders
from tests.sites import PLOVER, Site

from beadline.cli import main
from beadline.cli.dropping import Folder, pattern
from beadline.kit.errors import Refusal

SETTLE = "0.3"
Captured = pytest.CaptureFixture[str]


@pytest.fixture
def drop(tmp_path: Path) -> Path:
    folder = tmp_path / "drop"
    folder.mkdir()
    return folder


@pytest.fixture
def arrive(drop: Path) -> Callable[..., Path]:
    """Write the trace of a cycle into the folder."""

    def arrived(number: int, *, name: str = "") -> Path:
        file = builders.make_cycle_file(PLOVER, number)
        path = drop / (name or file.filename)
        path.write_bytes(file.content)
        return path

    return arrived


@pytest.fixture
def token(life: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("operator"))


@pytest.fixture
def watcher(drop: Path, token: None) -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Start `beadline watch` as a process of its own."""
    started: list[subprocess.Popen[str]] = []

    def start(address: str, *more: str) -> subprocess.Popen[str]:
        run = "import sys; from beadline.cli import main; sys.exit(main())"
        command = [sys.executable, "-c", run, "watch", str(drop), "--column", "Plover"]
        command += ["--server", address, "--settle", SETTLE, *more]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        started.append(process)
        return process

    yield start
    for process in started:
        process.kill()
        process.wait(timeout=30)


def until(told: Callable[[], object], *, seconds: float = 30) -> None:
    deadline = time.monotonic() + seconds
    while not told():
        assert time.monotonic() < deadline, "it did not come to that"
        time.sleep(0.05)


def stopped(process: subprocess.Popen[str]) -> str:
    process.send_signal(signal.SIGTERM)
    said, _ = process.communicate(timeout=30)
    assert process.returncode == 0
    return said


def cycles(site: Site) -> list[int]:
    with site.engine.connect() as connection:
        return list(
            connection.exec_driver_sql("select number from cycles where number > 20 order by 1").scalars()
        )


def closed_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as closed:
        return int(closed.getsockname()[1])


def watch_once(drop: Path, address: str, *more: str) -> int:
    which = more if "--pattern" in more else ("--column", "Plover", *more)
    return main(["watch", str(drop), "--server", address, "--settle", SETTLE, "--once", *which])


def test_finished_files_are_recorded_and_moved_with_a_note(server, life: Site, drop: Path, arrive, watcher):
    process = watcher(server)
    first = arrive(21)
    until(lambda: not first.exists())
    second = arrive(22)
    until(lambda: not second.exists())
    said = stopped(process)
    assert "Recorded cycle 21" in said
    assert "Stopped." in said
    assert cycles(life) == [21, 22]
    note = (drop / "done" / f"{second.name}.note.txt").read_text()
    assert "Recorded cycle 22" in note
    assert "/columns/" in note
    assert (drop / "done" / first.name).read_bytes() == builders.make_cycle_file(PLOVER, 21).content


@pytest.mark.usefixtures("token")
def test_a_file_that_can_not_be_read_is_refused_with_the_reason(server, life: Site, drop: Path, capsys):
    (drop / "letter.txt").write_text("Dear colleagues,\nthe column is fine.\n")
    assert watch_once(drop, server) == 1
    note = (drop / "refused" / "letter.txt.note.txt").read_text()
    assert "Refused: There is no row with at least two numbers" in note
    assert "What to do: Drop the export of a run's signals" in note
    assert cycles(life) == []
    assert "letter.txt: refused." in capsys.readouterr().out


@pytest.mark.usefixtures("token")
def test_each_line_is_json_if_asked_for(server, drop: Path, arrive, capsys):
    arrive(21)
    (drop / "letter.txt").write_text("Dear colleagues,\nthe column is fine.\n")
    assert watch_once(drop, server, "--json") == 1
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert all(line["at"] and line["said"] for line in lines)
    done = {line["outcome"]: line for line in lines if "outcome" in line}
    assert done["done"]["run"]["cycle"] == 21
    assert done["refused"]["problem"]["code"] == "no-numbers"


@pytest.mark.usefixtures("token")
def test_what_is_recorded_already_counts_as_done(server, life: Site, drop: Path, arrive):
    arrive(21)
    assert watch_once(drop, server) == 0
    arrive(21)
    arrive(21, name="copy.csv")
    assert watch_once(drop, server) == 0
    assert cycles(life) == [21]
    names = sorted(path.name for path in (drop / "done").iterdir() if not path.name.endswith(".note.txt"))
    assert names == ["copy.csv", "plover_cycle_021-2.csv", "plover_cycle_021.csv"]
    assert "Recorded already, as cycle 21" in (drop / "done" / "copy.csv.note.txt").read_text()


def test_a_growing_file_waits_until_it_stands_still(server, life: Site, drop: Path, watcher):
    content = builders.make_cycle_file(PLOVER, 21).content
    watcher(server)
    path = drop / "run.csv"
    with path.open("wb") as growing:
        for part in range(12):
            growing.write(content[part * len(content) // 12 : (part + 1) * len(content) // 12])
            growing.flush()
            time.sleep(0.1)
            assert path.exists()
    until(lambda: not path.exists())
    assert (drop / "done" / "run.csv").read_bytes() == content
    assert cycles(life) == [21]


def test_once_leaves_a_file_that_never_stands_still(server, drop: Path, token: None, capsys: Captured):
    path, ended = drop / "run.csv", threading.Event()

    def grow() -> None:
        while not ended.wait(0.02):
            with path.open("ab") as growing:
                growing.write(b"1,2\n")

    path.write_bytes(b"1,2\n")
    growing = threading.Thread(target=grow)
    growing.start()
    try:
        assert watch_once(drop, server) == 1
    finally:
        ended.set()
        growing.join()
    assert path.exists()
    assert "are left: 1" in capsys.readouterr().out


def test_once_does_not_wait_for_a_server_that_is_down(drop: Path, arrive, token: None):
    path = arrive(21)
    assert watch_once(drop, f"http://127.0.0.1:{closed_port()}") == 1
    assert path.exists()


def test_a_killed_watcher_goes_on_where_it_was(server, life: Site, drop: Path, arrive, watcher):
    """Killed after the server has recorded the run, before the file is moved: the file comes again."""
    path = arrive(21)
    first = watcher(server)
    until(lambda: cycles(life) == [21])
    first.kill()
    first.wait(timeout=30)
    if (drop / "done" / path.name).exists():  # it was quicker than the kill: as if it had not been
        (drop / "done" / path.name).rename(path)
    watcher(server)
    until(lambda: not path.exists())
    assert cycles(life) == [21]


def test_a_server_that_is_down_keeps_the_files(server, life: Site, drop: Path, arrive, watcher):
    path = arrive(21)
    process = watcher(f"http://127.0.0.1:{closed_port()}")
    time.sleep(2.0)
    assert path.exists()
    assert "does not answer" in (said := stopped(process))
    assert said.count("does not answer") == 1
    watcher(server)
    until(lambda: not path.exists())
    assert cycles(life) == [21]


def test_a_folder_that_vanishes_is_waited_for(server, life: Site, drop: Path, arrive, watcher):
    process = watcher(server)
    first = arrive(21)
    until(lambda: not first.exists())
    away = drop.with_name("away")
    drop.rename(away)
    time.sleep(1.0)
    assert not drop.exists()  # it is not made anew
    away.rename(drop)
    second = arrive(22)
    until(lambda: not second.exists())
    said = stopped(process)
    assert "can't be used" in said
    assert "All is well again." in said
    assert cycles(life) == [21, 22]


@pytest.mark.usefixtures("token")
def test_the_name_of_a_file_names_the_column(server, life: Site, drop: Path, arrive):
    arrive(21, name="plover_B-77_x.csv")
    arrive(22, name="run22.csv")
    arrive(22, name="heron_B-78_x.csv")
    assert watch_once(drop, server, "--pattern", "{column}_{batch}_*") == 1
    assert (drop / "done" / "plover_B-77_x.csv").exists()
    assert "does not fit the pattern" in (drop / "refused" / "run22.csv.note.txt").read_text()
    assert "heron" in (drop / "refused" / "heron_B-78_x.csv.note.txt").read_text()
    with life.engine.connect() as connection:
        assert connection.exec_driver_sql("select batch from cycles where number = 21").scalar_one() == "B-77"


@pytest.mark.usefixtures("token")
def test_a_wrong_column_stops_the_watch_and_blames_no_file(server, drop: Path, arrive, capsys: Captured):
    path = arrive(21)
    command = ["watch", str(drop), "--column", "Plovr", "--server", server, "--settle", SETTLE, "--once"]
    assert main(command) == 1
    assert "Did you mean Plover?" in capsys.readouterr().err
    assert path.exists()


def test_a_token_that_is_not_known_keeps_the_files(
    server,
    drop: Path,
    arrive,
    capsys: Captured,
    monkeypatch: pytest.MonkeyPatch,
):
    monkeypatch.setenv("BEADLINE_TOKEN", "bl_wrong")
    path = arrive(21)
    assert watch_once(drop, server) == 1
    assert path.exists()
    assert "Files stay where they are" in capsys.readouterr().out


@pytest.mark.parametrize("text", ["*.csv", "{colum}_*", "{column}_{column}", "{column}_{date}"])
def test_a_pattern_that_can_not_be_used(text: str):
    with pytest.raises(Refusal, match="can't be used"):
        pattern(text)


@pytest.mark.parametrize("name", [".hidden.csv", "run.csv.part", "run.tmp", "~$run.xlsx", "run.crdownload"])
def test_files_that_are_not_finished_by_their_name_are_left_alone(drop: Path, name: str):
    (drop / name).write_text("1;2\n")
    (drop / "empty.csv").touch()
    folder = Folder(drop, 0.0)
    assert folder.finished() == []
    assert folder.waiting == 0


def test_the_file_that_was_written_first_goes_first(drop: Path):
    for age, name in ((10, "b.csv"), (30, "c.csv"), (20, "a.csv")):
        (drop / name).write_text("1;2\n")
        os.utime(drop / name, (1_800_000_000 - age, 1_800_000_000 - age))
    assert [path.name for path in Folder(drop, 0.0).finished()] == ["c.csv", "a.csv", "b.csv"]
