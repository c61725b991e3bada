"""Commands that need a database or a server: a real one of each."""

from __future__ import annotations

import json
import socket
from pathlib import Path

import pytest
from sqlalchemy import text
from tests import builders
from tests.cli.conftest import serving
from tests.sites import PLOVER, Site
from tests.visitors import PASSWORD

from beadline import app
from beadline.cli import main
from beadline.settings import Settings
from beadline.store import migrate
from beadline.store.engine import make_engine

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def trace(tmp_path: Path):
    def written(number: int) -> str:
        file = builders.make_cycle_file(PLOVER, number)
        path = tmp_path / file.filename
        path.write_bytes(file.content)
        return str(path)

    return written


def test_log_run_prints_the_verdict_and_the_alert(
    server: str, life: Site, trace, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("operator"))
    to = ("--column", "Plover", "--server", server + "/")
    assert main(["log-run", trace(21), *to, "--batch", "B-021"]) == 0
    told = capsys.readouterr().out
    assert f"Recorded cycle 21 of {PLOVER.column.asset_tag}, packing 1: past action limit." in told
    assert main(["log-run", trace(22), *to, "--json"]) == 0
    reply = json.loads(capsys.readouterr().out)
    assert reply["alert"]["since_cycle"] == 21
    assert main(["log-run", trace(22), *to]) == 0
    assert "Recorded already, as cycle 22" in capsys.readouterr().out


def test_a_server_that_asks_to_wait_is_asked_again(
    life: Site, trace, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    """The waiting alone is not real: the server's clock goes on by what the command would have slept."""
    application = app.build(Settings(database_url=life.settings.database_url, changes_per_minute=1))
    slept: list[float] = []
    application.state.pace.now = lambda: sum(slept)
    monkeypatch.setattr("beadline.cli.sending.time.sleep", slept.append)
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("operator"))
    with serving(application) as address:
        for number in (21, 22):
            assert main(["log-run", trace(number), "--column", "Plover", "--server", address]) == 0
    assert 60 in slept
    assert "asks to wait 60 s" in capsys.readouterr().err


def test_log_run_signs_in_with_name_and_password(
    server: str, trace, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    to = ("--column", PLOVER.column.asset_tag, "--server", server, "--user", "operator")
    monkeypatch.setenv("BEADLINE_PASSWORD", "wrong" * 3)
    assert main(["log-run", trace(21), *to]) == 1
    assert "Name and password do not fit." in capsys.readouterr().err
    monkeypatch.setenv("BEADLINE_PASSWORD", PASSWORD)
    assert main(["log-run", trace(21), *to]) == 0


def test_log_run_tells_what_the_server_refuses(
    server: str, life: Site, trace, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BEADLINE_TOKEN", life.token("operator"))
    assert main(["log-run", trace(21), "--column", "Plovr", "--server", server]) == 1
    assert "Did you mean Plover?" in capsys.readouterr().err
    assert main(["log-run", trace(21), "--column", "Plover", "--number", "7", "--server", server]) == 1
    assert "Cycle 7 of this packing is recorded already" in capsys.readouterr().err


def test_log_run_says_that_no_server_answers(trace, capsys: Captured, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("BEADLINE_TOKEN", "bl_x")
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    assert main(["log-run", trace(1), "--column", "Plover", "--server", f"http://127.0.0.1:{port}"]) == 1
    assert "does not answer" in capsys.readouterr().err


@pytest.fixture
def database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    url = f"sqlite:///{tmp_path}/beadline.db"
    monkeypatch.setenv("BEADLINE_DATABASE_URL", url)
    return url


def test_a_database_is_made_peopled_and_verified(
    database: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    assert main(["serve"]) == 1
    assert "Run `beadline migrate` first." in capsys.readouterr().err
    assert main(["migrate"]) == 0
    assert migrate.is_current(make_engine(database))
    monkeypatch.setenv("BEADLINE_PASSWORD", PASSWORD)
    assert main(["add-person", "ada", "--role", "administrator"]) == 0
    assert main(["add-person", "ada", "--role", "viewer"]) == 1
    assert "already an account named ada" in capsys.readouterr().err
    assert main(["verify"]) == 0
    assert "follows from the one before it" in capsys.readouterr().out


def test_what_was_made_is_told_as_json(database: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch):
    assert main(["migrate", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told == {"revision": migrate.head(), "needed": migrate.head(), "current": True}
    monkeypatch.setenv("BEADLINE_PASSWORD", PASSWORD)
    assert main(["add-person", "ada", "--full-name", "Ada Roe", "--role", "administrator", "--json"]) == 0
    made = json.loads(capsys.readouterr().out)
    assert (made["name"], made["full_name"], made["role"]) == ("ada", "Ada Roe", "administrator")


def test_verify_finds_an_altered_record(database: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("BEADLINE_PASSWORD", PASSWORD)
    assert main(["migrate"]) == main(["add-person", "ada", "--role", "administrator"]) == 0
    engine = make_engine(database)
    with engine.begin() as connection:
        connection.execute(text("drop trigger records_no_update"))
        connection.execute(text("update records set user_name = 'nobody'"))
    engine.dispose()
    assert main(["verify"]) == 1
    assert "Record 1: Its content was altered" in capsys.readouterr().err
    assert main(["verify", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert (told["well"], told["harmed_traces"], told["broken_record"]["id"]) == (False, [], 1)


def test_a_wrong_setting_stops_every_command(
    database: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("BEADLINE_PROT", "8000")
    for command in ("migrate", "serve", "verify"):
        assert main([command]) == 1
        assert "Unknown setting BEADLINE_PROT" in capsys.readouterr().err


@pytest.mark.slow
def test_loading_the_demo_twice_changes_nothing(tmp_path: Path, capsys: Captured):
    assert main(["demo", "--folder", str(tmp_path), "--load-only"]) == 0
    engine = make_engine(f"sqlite:///{tmp_path}/demo.db")

    def everything() -> list[int]:
        with engine.connect() as connection:
            tables = ("cycles", "records", "alerts", "traces", "transitions", "pulse_tests", "users")
            return [connection.exec_driver_sql(f"select count(*) from {t}").scalar_one() for t in tables]

    loaded = everything()
    assert min(loaded) > 0
    assert main(["demo", "--folder", str(tmp_path), "--load-only"]) == 0
    assert everything() == loaded
    engine.dispose()
