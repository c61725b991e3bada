"""Records: only ever added, chained by hashes, so that an altered one is found."""

from __future__ import annotations

import csv
import hashlib
import json

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Session
from tests.sites import Site

from beadline.features.records import service as records
from beadline.features.records.schemas import Choice
from beadline.kit import clock
from beadline.store.engine import writing_sessions
from beadline.store.tables import User

pytestmark = pytest.mark.every_dialect

TRIGGERS = {
    "sqlite": ("drop trigger records_no_update", "drop trigger records_no_delete"),
    "postgresql": ("drop trigger records_only_grow on records",),
}


def write_three(session: Session, user: User) -> None:
    for number in range(3):
        records.write(
            session,
            by=user,
            at=clock.now(),
            did="make",
            thing="test",
            thing_id=number,
            said=f"said {number} − “µm”",
            why="because",
            before={"a": None},
            after={"a": 0.1 + number, "b": ["x", True]},
        )


def tamper(engine: Engine, statement: str) -> str | None:
    """Alter the table as somebody with full rights could; return where the chain is found broken."""
    with engine.begin() as connection:
        for drop in TRIGGERS[engine.dialect.name]:
            connection.execute(text(drop))
        connection.execute(text(statement))
    with Session(engine) as session:
        broken = records.verify(session)
    return f"{broken.record_id}: {broken.reason}" if broken else None


@pytest.fixture
def chain(engine: Engine, dialect: str) -> int:
    """The number of records in the database, the last three of which were written just now."""
    with writing_sessions(engine).begin() as session:
        user = session.get(User, 1)
        assert user is not None
        write_three(session, user)
        return session.execute(text("select count(*) from records")).scalar_one()


def test_the_chain_holds_after_a_round_trip_through_the_database(engine: Engine, chain: int):
    with Session(engine) as session:
        assert records.verify(session) is None


def test_a_record_names_who_did_what_and_when(session: Session, people: dict[str, User]):
    at = clock.now()
    record = records.write(
        session, by=people["quality"], at=at, did="see", thing="test", thing_id=7, said="Saw", why="Why"
    )
    assert (record.user_name, record.at, record.did, record.why) == ("quality", at, "see", "Why")


def test_a_hash_covers_all_that_is_said_and_the_hash_before(session: Session, people: dict[str, User]):
    """SHA-256 over the canonical content, computed here anew from the row's columns."""
    write_three(session, people["viewer"])
    rows = session.execute(text("select sha256, previous_sha256 from records order by id")).all()
    assert rows[0].previous_sha256 == "0" * 64
    assert [row.previous_sha256 for row in rows[1:]] == [row.sha256 for row in rows[:-1]]
    record = list(records.queries.in_order(session))[-1]
    content = [record.id, record.at.isoformat(timespec="microseconds"), record.user_id, record.user_name]
    content += [record.did, record.thing, record.thing_id, record.said, record.why, record.before]
    content += [record.after, record.previous_sha256]
    plain = json.dumps(content, sort_keys=True, ensure_ascii=False).encode()
    assert hashlib.sha256(plain).hexdigest() == record.sha256


@pytest.mark.parametrize("statement", ["update records set said = 'x'", "delete from records"])
def test_the_database_refuses_to_change_or_take_away_a_record(engine: Engine, chain: int, statement: str):
    with pytest.raises(DatabaseError, match="records can only be added"), engine.begin() as connection:
        connection.execute(text(statement))
    with Session(engine) as session:
        assert records.verify(session) is None


@pytest.mark.parametrize(
    "change",
    [
        "said = 'Nothing happened'",
        "why = ''",
        "user_name = 'somebody else'",
        "user_id = 2",
        "at = '2020-01-01 00:00:00'",
        "did = 'release'",
        "thing_id = 99",
        "after = '{\"a\": 0}'",
        "before = null",
    ],
)
def test_an_altered_record_is_found(engine: Engine, chain: int, change: str):
    found = tamper(engine, f"update records set {change} where id = {chain - 1}")
    assert found == f"{chain - 1}: Its content was altered after it was written."


def test_a_record_that_was_taken_away_is_found(engine: Engine, chain: int):
    found = tamper(engine, f"delete from records where id = {chain - 1}")
    assert found is not None
    assert found.startswith(f"{chain - 1}: Record {chain - 1} is missing")


def test_a_record_that_was_rehashed_after_altering_breaks_the_next(engine: Engine, chain: int):
    """Who also rewrites the row's own hash is betrayed by the row after it."""
    with Session(engine) as session:
        record = session.get(records.Record, chain - 1)
        assert record is not None
        record.said = "Nothing happened"
        forged = records.digest(record)
        session.rollback()
    change = f"said = 'Nothing happened', sha256 = '{forged}'"
    found = tamper(engine, f"update records set {change} where id = {chain - 1}")
    assert found == f"{chain}: It does not follow from the record before it."


def test_records_are_exported_with_their_hashes_and_no_live_formula(site: Site):
    with site.writing() as session:
        user = session.get(User, 1)
        records.write(
            session, by=user, at=clock.now(), did="x", thing="x", thing_id=1, said='=HYPERLINK("heron")'
        )
    text_csv = site.visitor("viewer").get("/records.csv").text
    rows = list(csv.DictReader(text_csv.splitlines()))
    with site.writing() as session:
        stored = [record.sha256 for record in records.queries.chosen_in_order(session, Choice())]
    assert [row["sha256"] for row in rows] == stored[: len(rows)]
    assert any(row["said"] == '\'=HYPERLINK("heron")' for row in rows)


def test_the_page_says_whether_the_chain_holds(site: Site):
    visitor = site.visitor("quality")
    assert "The whole chain holds." in visitor.get("/records?verify=1").text
    assert tamper(site.engine, "update records set why = 'x' where id = 3")
    assert "The chain breaks at record 3." in visitor.get("/records?verify=1").text
