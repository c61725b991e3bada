"""`beadline backup` and `restore` of PostgreSQL: a drill at work, and there and back between both engines."""

from __future__ import annotations

import hashlib
import sqlite3
import threading
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Engine, LargeBinary, inspect, text
from tests import builders, sites
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.cli import main
from beadline.store import migrate
from beadline.store.engine import make_engine

pytestmark = pytest.mark.every_dialect
Captured = pytest.CaptureFixture[str]


@pytest.fixture
def lived(open_site: Callable[..., Site], monkeypatch: pytest.MonkeyPatch) -> Site:
    """A site on PostgreSQL whose bed has cracked, named in the settings."""
    site = open_site(sites.fill_cracked_life)
    if site.engine.dialect.name != "postgresql":
        pytest.skip("see test_backup.py")
    monkeypatch.setenv("BEADLINE_DATABASE_URL", site.settings.database_url)
    return site


def url_of(engine: Engine) -> str:
    return engine.url.render_as_string(hide_password=False)


def back_up(folder: Path) -> Path:
    assert main(["backup", str(folder)]) == 0
    return max(folder.glob("*.db"))


def rows(url: str) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of all tables, as their drivers give them, but for how engines say times and truth."""
    engine = make_engine(url)
    with engine.connect() as connection:
        names = sorted(inspect(engine).get_table_names())
        found = {name: connection.execute(text(f"select * from {name} order by 1")).all() for name in names}
    engine.dispose()
    return {name: [tuple(_plain(value) for value in row) for row in some] for name, some in found.items()}


def _plain(value: Any) -> Any:
    return bytes(value) if isinstance(value, memoryview) else value


def test_a_drill_a_backup_taken_while_runs_are_logged_is_restored_whole(
    lived: Site, empty: Engine, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    credentials, before = bearer(lived.token("operator")), lived.counts()["cycles"]
    files = [builders.make_cycle_file(PLOVER, before + n) for n in range(1, 5)]
    sent = threading.Thread(target=lambda: [lived.post_run(one, credentials=credentials) for one in files])
    sent.start()
    backup = back_up(tmp_path)
    sent.join()
    monkeypatch.setenv("BEADLINE_DATABASE_URL", url_of(empty))
    assert main(["restore", str(backup)]) == 0
    assert "every trace is as it was received" in capsys.readouterr().out
    restored = Site(url_of(empty))
    counts = restored.counts()
    assert before <= counts["cycles"] <= lived.counts()["cycles"] == before + 4
    assert counts["cycles"] == counts["traces"] == counts["judgements"]
    for one in files[counts["cycles"] - before :]:  # what came after the backup is sent again
        assert restored.post_run(one, credentials=bearer(restored.token("operator"))).status_code == 201
    assert main(["verify"]) == 0
    with restored.engine.connect() as connection, pytest.raises(Exception, match="records can only be added"):
        connection.execute(text("delete from records"))
    restored.close()


def test_every_row_comes_back_as_it_was_even_through_the_other_engine(
    lived: Site, empty: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    backup = back_up(tmp_path)
    monkeypatch.setenv("BEADLINE_DATABASE_URL", f"sqlite:///{tmp_path / 'own.db'}")
    assert main(["restore", str(backup)]) == 0
    site = Site(f"sqlite:///{tmp_path / 'own.db'}")
    assert "Plover" in site.visitor("viewer").page("/")
    site.close()
    monkeypatch.setenv("BEADLINE_DATABASE_URL", url_of(empty))
    assert main(["restore", str(backup)]) == 0
    assert rows(url_of(empty)) == rows(lived.settings.database_url)


def test_a_database_that_holds_something_is_not_filled(lived: Site, tmp_path: Path, capsys: Captured):
    backup, before = back_up(tmp_path), lived.counts()
    assert main(["restore", str(backup)]) == 1
    assert "is not empty" in capsys.readouterr().err
    assert lived.counts() == before


def test_a_backup_that_was_changed_fills_nothing(
    lived: Site, empty: Engine, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    backup = back_up(tmp_path)
    content = bytearray(backup.read_bytes())
    content[5000] ^= 1
    backup.write_bytes(content)
    monkeypatch.setenv("BEADLINE_DATABASE_URL", url_of(empty))
    assert main(["restore", str(backup)]) == 1
    assert "its checksum differs" in capsys.readouterr().err
    assert inspect(empty).get_table_names() == []


def test_a_backup_of_an_older_version_is_brought_up_to_this_one(
    lived: Site, empty: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    backup = back_up(tmp_path)
    older = make_engine(f"sqlite:///{backup}")
    migrate.downgrade(older, "beds_have_events")
    older.dispose()
    with closing(sqlite3.connect(backup)) as file:
        file.execute("pragma journal_mode=delete")
    line = f"{hashlib.sha256(backup.read_bytes()).hexdigest()}  {backup.name}\n"
    backup.with_name(backup.name + ".sha256").write_text(line)
    monkeypatch.setenv("BEADLINE_DATABASE_URL", url_of(empty))
    assert main(["restore", str(backup)]) == 0
    assert migrate.is_current(empty)
    assert rows(url_of(empty))["cycles"] == rows(lived.settings.database_url)["cycles"]


def test_what_is_compressed_is_carried_as_it_lies_there(lived: Site, tmp_path: Path):
    backup = back_up(tmp_path)
    query = "select content from traces where id = 1"
    with lived.engine.connect() as connection:
        there = bytes(connection.execute(text(query).columns(content=LargeBinary)).scalar_one())
    with closing(sqlite3.connect(backup)) as file:
        assert file.execute(query).fetchone()[0] == there
