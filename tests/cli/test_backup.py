"""`beadline backup` and `restore`: a drill, with a server that logs runs all the while."""

from __future__ import annotations

import hashlib
import json
import threading
from pathlib import Path

import pytest
from sqlalchemy import text
from tests import builders
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.cli import main
from beadline.store.engine import make_engine

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def database(life: Site, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The file of a living site's database, named in the settings."""
    if not life.settings.database_url.startswith("sqlite"):
        pytest.skip("see test_backup_postgresql.py")
    monkeypatch.setenv("BEADLINE_DATABASE_URL", life.settings.database_url)
    return Path(life.settings.database_url.removeprefix("sqlite:///"))


def back_up(folder: Path, capsys: Captured) -> Path:
    assert main(["backup", str(folder)]) == 0
    assert "SHA-256" in capsys.readouterr().out
    return max(folder.glob("*.db"))


def test_a_drill_a_backup_taken_while_runs_are_logged_is_restored_whole(
    database: Path, life: Site, tmp_path: Path, capsys: Captured
):
    credentials = bearer(life.token("operator"))
    sent = threading.Thread(
        target=lambda: [
            life.post_run(builders.make_cycle_file(PLOVER, n), credentials=credentials) for n in range(21, 25)
        ]
    )
    sent.start()
    backup = back_up(tmp_path / "copies", capsys)
    sent.join()
    after = life.counts()
    life.close()
    assert main(["restore", str(backup)]) == 0
    said = capsys.readouterr().out
    assert "The database that was there is kept as" in said
    assert "every trace is as it was received" in said
    restored = Site(life.settings.database_url)
    counts = restored.counts()
    assert 20 <= counts["cycles"] <= after["cycles"] == 24
    assert counts["cycles"] == counts["traces"] == counts["judgements"]
    for number in range(counts["cycles"] + 1, 25):  # what came after the backup is sent again
        answer = restored.post_run(
            builders.make_cycle_file(PLOVER, number), credentials=bearer(restored.token("operator"))
        )
        assert answer.status_code == 201
    restored.close()
    assert len(list(database.parent.glob(f"{database.stem}-before-*.db"))) == 1


def test_a_program_is_told_in_json(database: Path, life: Site, tmp_path: Path, capsys: Captured):
    life.close()
    assert main(["backup", str(tmp_path), "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert hashlib.sha256(Path(made["file"]).read_bytes()).hexdigest() == made["sha256"]
    assert main(["restore", made["file"], "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["well"], told["restored"], Path(told["kept"]).exists()) == (True, made["file"], True)


def test_the_checksum_is_one_that_other_tools_read(database: Path, tmp_path: Path, capsys: Captured):
    backup = back_up(tmp_path, capsys)
    line = Path(f"{backup}.sha256").read_text()
    assert line == f"{hashlib.sha256(backup.read_bytes()).hexdigest()}  {backup.name}\n"
    assert list(tmp_path.glob("*.part")) == []


def test_a_backup_that_was_changed_is_refused(database: Path, life: Site, tmp_path: Path, capsys: Captured):
    backup, before = back_up(tmp_path, capsys), database.read_bytes()
    content = bytearray(backup.read_bytes())
    content[5000] ^= 1
    backup.write_bytes(content)
    assert main(["restore", str(backup)]) == 1
    assert "its checksum differs" in capsys.readouterr().err
    assert database.read_bytes() == before


def test_a_database_in_use_is_not_replaced(database: Path, life: Site, tmp_path: Path, capsys: Captured):
    backup = back_up(tmp_path, capsys)
    with life.writing() as session:
        session.execute(text("select 1"))
        assert main(["restore", str(backup)]) == 1
        assert "in use" in capsys.readouterr().err
    assert life.counts()["cycles"] == 20


def test_a_harmed_database_is_set_aside(database: Path, life: Site, tmp_path: Path, capsys: Captured):
    backup = back_up(tmp_path, capsys)
    life.close()
    database.write_bytes(b"not a database" * 1000)
    wal = database.with_name(database.name + "-wal")
    wal.write_bytes(b"nor a log")
    assert main(["restore", str(backup)]) == 0
    kept = next(database.parent.glob(f"{database.stem}-before-*.db"))
    assert kept.read_bytes().startswith(b"not a database")
    assert not wal.exists() or wal.read_bytes() != b"nor a log"


def test_a_missing_backup_is_said(database: Path, tmp_path: Path, capsys: Captured):
    assert main(["restore", str(tmp_path / "none.db")]) == 1
    assert "is missing" in capsys.readouterr().err


def test_verify_finds_a_trace_whose_bytes_changed(database: Path, life: Site, capsys: Captured):
    engine = make_engine(life.settings.database_url)
    with engine.begin() as connection:
        connection.execute(
            text("update traces set content = (select content from traces where id = 2) where id = 1")
        )
    engine.dispose()
    assert main(["verify"]) == 1
    assert "Trace 1: its bytes are not those that were received." in capsys.readouterr().err
