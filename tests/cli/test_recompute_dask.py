"""`beadline recompute` on the workers of a real Dask scheduler, over TCP."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from importlib.util import find_spec

import pytest
from sqlalchemy import text
from tests.sites import Site
from tests.visitors import PASSWORD

from beadline.cli import main
from beadline.science import transition as science

if find_spec("distributed") is None:
    pytest.skip("needs dask[distributed]", allow_module_level=True)
import distributed

Captured = pytest.CaptureFixture[str]
ORDER = ("recompute", "--column", "Plover", "--reason", "Tails", "--user", "engineer")


@pytest.fixture(scope="module")
def cluster() -> Iterator[distributed.LocalCluster]:
    """A scheduler with two worker processes."""
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, protocol="tcp", dashboard_address=None
    ) as started:
        yield started


@pytest.fixture
def old(life: Site, monkeypatch: pytest.MonkeyPatch) -> Site:
    """A life whose results an older version made; commands work on its database."""
    with life.engine.begin() as connection:
        connection.execute(text("update transitions set method_version = '0'"))
    monkeypatch.setenv("BEADLINE_DATABASE_URL", life.settings.database_url)
    monkeypatch.setenv("BEADLINE_PASSWORD", PASSWORD)
    return life


def test_workers_of_a_scheduler_do_the_same(old: Site, cluster: distributed.LocalCluster, capsys: Captured):
    address = cluster.scheduler_address
    assert address.startswith("tcp://")
    assert main([*ORDER, "--scheduler", address]) == 0
    told = capsys.readouterr().out
    assert "20 cycles analysed; 40 new results beside the old ones" in told
    assert "0 of them changed" in told
    counted = "select method_version, count(*) from transitions where not superseded group by method_version"
    with old.engine.connect() as connection:
        assert connection.execute(text(counted)).all() == [(science.VERSION, 40)]
    with distributed.Client(address) as client:
        executed = client.run(lambda dask_worker: dask_worker.state.executed_count)
    assert len(executed) == 2
    assert min(executed.values()) > 0


def test_a_scheduler_that_is_not_there_is_refused(
    old: Site, capsys: Captured, monkeypatch: pytest.MonkeyPatch
):
    with socket.create_server(("127.0.0.1", 0)) as closed:
        port = closed.getsockname()[1]
    assert main([*ORDER, "--scheduler", f"tcp://127.0.0.1:{port}"]) == 1
    assert "No Dask scheduler answers" in capsys.readouterr().err
