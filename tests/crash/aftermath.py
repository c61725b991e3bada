"""What must hold of a database after the server was killed, whenever that was."""

from __future__ import annotations

import time
from collections.abc import Sequence
from datetime import timedelta

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import OperationalError
from tests.crash.skids import Skid
from tests.receivers import Hook

from beadline.cli import main
from beadline.kit import clock
from beadline.settings import Settings
from beadline.worker import Worker

QUIET_WITHIN_S = 20.0
# what would be half a run, or a run twice: each query counts what must not be there
WRONG = {
    "runs without a judgement": "select count(*) from cycles c where not exists"
    " (select 1 from judgements j where j.cycle_id = c.id)",
    "runs without both transitions": "select count(*) from cycles c where"
    " (select count(*) from transitions t where t.cycle_id = c.id) <> 2",
    "runs that are not in the audit trail once": "select count(*) from cycles c where"
    " (select count(*) from records r where r.thing = 'cycle' and r.did = 'log' and r.thing_id = c.id) <> 1",
    "files that belong to no run": "select count(*) from traces f where not exists"
    " (select 1 from cycles c where c.trace_id = f.id)",
    "files recorded as two runs": "select count(*) from (select trace_id from cycles group by trace_id"
    " having count(*) > 1) twice",
    "gaps in the numbers of a bed": "select count(*) from (select packing_id from cycles group by packing_id"
    " having max(number) <> count(*)) gap",
    "drifting beds without an alert": "select count(*) from cycles c join judgements j on j.cycle_id = c.id"
    " where j.condition in ('drifting', 'degraded') and not exists"
    " (select 1 from alerts a where a.packing_id = c.packing_id)",
    "alerts of which nobody is told": "select count(*) from alerts a where not exists"
    " (select 1 from notices n where n.alert_id = a.id and n.event = 'raised')",
    "alerts at the action level of which nobody is told": "select count(*) from alerts a"
    " where a.level = 'action' and not exists"
    " (select 1 from notices n where n.alert_id = a.id and n.level = 'action')",
}


def check(engine: Engine, skids: Sequence[Skid], monkeypatch: pytest.MonkeyPatch) -> None:
    """Hold the database against what was confirmed, and against itself; end with `beadline verify`."""
    _wait_for_quiet(engine)
    with engine.connect() as connection:
        for what, query in WRONG.items():
            assert connection.execute(text(query)).scalar_one() == 0, what
        stored = {
            (name, sha256)
            for name, sha256 in connection.execute(
                text(
                    "select k.name, f.sha256 from cycles c join traces f on f.id = c.trace_id"
                    " join packings p on p.id = c.packing_id join columns k on k.id = p.column_id"
                )
            )
        }
        alerts = set(connection.execute(text("select id from alerts")).scalars())
    confirmed = [one for skid in skids for one in skid.confirmed]
    assert {(one.column, one.sha256) for one in confirmed} <= stored
    assert {one.alert for one in confirmed if one.alert} <= alerts
    monkeypatch.setenv("BEADLINE_DATABASE_URL", engine.url.render_as_string(hide_password=False))
    assert main(["verify"]) == 0


def _wait_for_quiet(engine: Engine) -> None:
    """Let a database server end what the dead left open, and recover if it was hit itself."""
    if engine.dialect.name == "sqlite":
        return
    others = "select count(*) from pg_stat_activity where datname = current_database() and pid <> :own"
    deadline = time.monotonic() + QUIET_WITHIN_S
    while True:
        try:
            with engine.connect() as connection:
                own = connection.execute(text("select pg_backend_pid()")).scalar_one()
                if connection.execute(text(others), {"own": own}).scalar_one() == 0:
                    return
        except OperationalError:
            assert time.monotonic() < deadline, "the database did not come back"
        assert time.monotonic() < deadline, "somebody is still at work in the database"
        time.sleep(0.05)


def drain(settings: Settings, hook: Hook) -> int:
    """Send what waits, an hour later; return how many notices there were, each of which has come."""
    worker = Worker(settings, now=lambda: clock.now() + timedelta(hours=1))
    while worker.step():
        pass
    with worker.engine.connect() as connection:
        rows = connection.execute(text("select id, state from notices")).all()
    worker.engine.dispose()
    assert {state for _, state in rows} == {"sent"}
    came = {notice["id"] for content in hook.contents for notice in content["notices"]}
    assert {number for number, _ in rows} == came
    return len(rows)
