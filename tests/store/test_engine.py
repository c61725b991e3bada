"""The engine: durable, strict about references, and fair to many at once."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlalchemy.orm import Session
from tests import builders

from beadline.features.records import service as records
from beadline.kit import clock
from beadline.store.engine import make_engine, reading_sessions, writing_sessions
from beadline.store.tables import User

pytestmark = pytest.mark.every_dialect


def test_nothing_connects_until_asked(tmp_path):
    make_engine(f"sqlite:///{tmp_path}/below/beadline.db")
    assert not (tmp_path / "below" / "beadline.db").exists()
    make_engine("postgresql+psycopg://nobody@nowhere.invalid/none")


def test_sqlite_survives_a_power_cut_and_checks_references(tmp_path):
    """Values as SQLite's manual names them: synchronous 2 is FULL."""
    engine = make_engine(f"sqlite:///{tmp_path}/beadline.db")
    with engine.connect() as connection:
        pragmas = {
            name: connection.exec_driver_sql(f"pragma {name}").scalar()
            for name in ("journal_mode", "synchronous", "foreign_keys")
        }
    assert pragmas == {"journal_mode": "wal", "synchronous": 2, "foreign_keys": 1}
    engine.dispose()


def test_a_row_of_nobody_is_refused(engine: Engine):
    statement = (
        "insert into records (id, at, user_id, user_name, did, thing, said, why, previous_sha256, sha256) "
        "values (99, '2031-01-01 00:00:00', 12345, 'x', 'x', 'x', 'x', '', 'x', 'x')"
    )
    with pytest.raises(IntegrityError), engine.begin() as connection:
        connection.execute(text(statement))


def test_a_reader_is_not_held_up_by_a_writer(engine: Engine):
    with writing_sessions(engine).begin() as writer:
        writer.execute(text("update users set full_name = 'changed'"))
        with reading_sessions(engine)() as reader:
            seen = reader.execute(text("select count(*) from users where full_name = 'changed'")).scalar()
    assert seen == 0


def test_writers_at_the_same_time_wait_for_each_other_and_the_chain_holds(engine: Engine):
    """Each reads the last record and adds the next: two at once must not both build on the same one."""
    start, failures = threading.Barrier(4), []

    def write() -> None:
        start.wait()
        try:
            for number in range(5):
                with writing_sessions(engine).begin() as session:
                    user = session.get(User, 1)
                    records.write(
                        session, by=user, at=clock.now(), did="x", thing="x", thing_id=number, said="x"
                    )
        except DatabaseError as error:
            failures.append(error)

    threads = [threading.Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert not failures
    with Session(engine) as session:
        assert records.verify(session) is None
        assert session.execute(text("select count(*) from records where did = 'x'")).scalar() == 20


def test_a_column_holds_one_packing_at_a_time_even_for_two_writers(session: Session, people: dict[str, User]):
    """The database itself refuses a second packing in use; the service's check alone could be outrun."""
    packing = builders.make_packing(session, by=people["engineer"])
    row = {name: getattr(packing, name) for name in ("column_id", "lot_id", "step_plan_id", "bed_height_mm")}
    statement = text(
        "insert into packings (column_id, number, lot_id, step_plan_id, packed_at, bed_height_mm, note) "
        "values (:column_id, 2, :lot_id, :step_plan_id, :packed_at, :bed_height_mm, '')"
    )
    with pytest.raises(IntegrityError):
        session.execute(statement, row | {"packed_at": builders.PACKED + timedelta(days=1)})
