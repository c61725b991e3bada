"""`beadline recompute` with real worker processes, killed in the middle and started again."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time

import pytest
from sqlalchemy import text
from tests.sites import Site
from tests.visitors import PASSWORD

from beadline.cli import main

Captured = pytest.CaptureFixture[str]
ORDER = ("recompute", "--column", "Plover", "--reason", "Tails", "--processes", "2")


@pytest.fixture
def old(life: Site, monkeypatch: pytest.MonkeyPatch) -> Site:
    """A life whose results an older version made; commands work on its database."""
    with life.engine.begin() as connection:
        connection.execute(text("update transitions set method_version = '0'"))
    monkeypatch.setenv("BEADLINE_DATABASE_URL", life.settings.database_url)
    monkeypatch.setenv("BEADLINE_PASSWORD", PASSWORD)
    return life


def counted(site: Site, condition: str) -> int:
    with site.engine.connect() as connection:
        return connection.execute(text(f"select count(*) from {condition}")).scalar_one()


@pytest.mark.parametrize("role", ["engineer", "administrator"])
def test_it_prints_what_changed(old: Site, role: str, capsys: Captured):
    many = counted(old, "transitions")
    assert main([*ORDER, "--user", role, "--dry-run", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["dry_run"], told["beds"][0]["transitions"]) == (True, many)
    assert counted(old, "transitions") == many
    assert main([*ORDER, "--user", role]) == 0
    told = capsys.readouterr().out
    assert f"Plover, packing 1: 20 cycles analysed; {many} new results beside the old ones" in told
    assert "Recomputation 1 is finished" in told
    assert counted(old, "transitions where not superseded") == many


@pytest.mark.parametrize("role", ["viewer", "operator", "quality"])
def test_others_may_not(old: Site, role: str, capsys: Captured, monkeypatch: pytest.MonkeyPatch):
    assert main([*ORDER, "--user", role]) == 1
    assert "does not allow to recompute" in capsys.readouterr().err
    monkeypatch.setenv("BEADLINE_TOKEN", old.token(role))
    assert main([*ORDER]) == 1
    assert counted(old, "recomputations") == 0


def test_a_wrong_password_or_column_is_refused(old: Site, capsys: Captured, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("BEADLINE_TOKEN", old.token("engineer"))
    assert main(["recompute", "--column", "Plovr", "--reason", "Tails"]) == 1
    assert "Did you mean Plover" in capsys.readouterr().err
    assert main([*ORDER[:-1], "0"]) == 1
    assert "0 processes can't be started" in capsys.readouterr().err
    monkeypatch.setenv("BEADLINE_PASSWORD", "wrong" * 3)
    assert main([*ORDER, "--user", "engineer"]) == 1
    assert "Name and password do not fit" in capsys.readouterr().err


def test_killed_it_goes_on_where_it_was_and_its_processes_end(old: Site):
    many = counted(old, "transitions")
    command = "import sys; from beadline.cli import main; sys.exit(main(sys.argv[1:]))"
    started = subprocess.Popen(
        [sys.executable, "-c", command, *ORDER, "--user", "engineer"],
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        start_new_session=True,
    )
    deadline = time.monotonic() + 120
    while not counted(old, "recomputed_cycles") and time.monotonic() < deadline:
        time.sleep(0.01)
    os.kill(started.pid, signal.SIGKILL)
    started.wait()
    kept = counted(old, "recomputed_cycles")
    assert kept > 0
    assert counted(old, "transitions where not superseded") == many
    assert main([*ORDER, "--user", "engineer"]) == 0
    assert counted(old, "recomputations") == 1
    assert counted(old, "recomputed_cycles") == 20
    assert counted(old, "transitions") == 2 * many
    assert counted(old, "transitions where not superseded and revision = 2") == many
    while time.monotonic() < deadline:  # the workers of the one that was killed
        try:
            os.killpg(started.pid, 0)
        except ProcessLookupError:
            return
        time.sleep(0.05)
    raise AssertionError("worker processes outlived the process that was killed")
