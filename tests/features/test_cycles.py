"""Cycles: numbered within the bed, never before it was packed nor after now, counted on the resin lot."""

from __future__ import annotations

from datetime import timedelta

import pytest
from sqlalchemy.orm import Session
from tests import builders
from tests.builders import PACKED

from beadline.features.cycles import queries
from beadline.features.cycles import service as cycles
from beadline.features.cycles.schemas import RunFacts
from beadline.features.traces import service as traces
from beadline.kit import clock
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import Cycle, Packing, User

NOW = clock.now()


@pytest.fixture
def bed(session: Session, people: dict[str, User]) -> Packing:
    return builders.make_packing(session, by=people["engineer"])


def add(session: Session, bed: Packing, by: User, **facts: object) -> Cycle:
    content = f"file {queries.newest_number(session, bed.id)} {facts}".encode()
    trace = traces.keep(session, content, filename="run.csv", by=by, at=NOW)
    return cycles.add(
        session,
        packing=bed,
        trace=trace,
        facts=RunFacts(**facts),  # type: ignore[arg-type]
        profile={"axis": "volume"},
        conditions={},
        came_by="api",
        by=by,
        at=NOW,
    )


def test_cycles_are_numbered_from_one_on(session: Session, bed: Packing, people: dict[str, User]):
    made = [add(session, bed, people["operator"]).number for _ in range(3)]
    assert made == [1, 2, 3]


def test_a_number_may_be_skipped_and_the_next_follows_the_highest(
    session: Session, bed: Packing, people: dict[str, User]
):
    given = [add(session, bed, people["operator"], number=n).number for n in (5, 2)]
    assert [*given, add(session, bed, people["operator"]).number] == [5, 2, 6]


def test_a_taken_number_is_refused(session: Session, bed: Packing, people: dict[str, User]):
    add(session, bed, people["operator"], number=5)
    with pytest.raises(Conflict, match="Cycle 5 of this packing is recorded already") as raised:
        add(session, bed, people["operator"], number=5)
    assert raised.value.code == "number-taken"


@pytest.mark.parametrize("number", [0, -1, 100_001])
def test_a_number_that_can_not_be_is_refused(
    session: Session, bed: Packing, people: dict[str, User], number: int
):
    with pytest.raises(Invalid, match="can't be a cycle number"):
        add(session, bed, people["operator"], number=number)


@pytest.mark.parametrize(
    ("started_at", "said"),
    [
        (NOW + timedelta(minutes=11), "still to come"),
        (PACKED - timedelta(days=2), "before the bed was packed"),
    ],
)
def test_a_time_that_can_not_be_is_refused(
    session: Session, bed: Packing, people: dict[str, User], started_at: object, said: str
):
    with pytest.raises(Invalid, match=said) as raised:
        add(session, bed, people["operator"], started_at=started_at)
    assert raised.value.where == "started_at"


def test_a_clock_that_is_some_minutes_ahead_is_forgiven(
    session: Session, bed: Packing, people: dict[str, User]
):
    ahead = NOW + timedelta(minutes=9)
    assert add(session, bed, people["operator"], started_at=ahead).started_at == ahead


def test_a_run_without_a_time_started_when_it_was_logged(
    session: Session, bed: Packing, people: dict[str, User]
):
    assert add(session, bed, people["operator"]).started_at == NOW


def test_a_voided_run_counts_no_more(session: Session, bed: Packing, people: dict[str, User]):
    for _ in range(3):
        last = add(session, bed, people["operator"])
    last.voided_at, last.void_reason = NOW, "wrong file"
    session.flush()
    assert queries.newest_number(session, bed.id) == 2
    assert [cycle.number for cycle in queries.of_packing(session, bed.id)] == [1, 2]
    assert add(session, bed, people["operator"]).number == 3


def test_an_unknown_cycle_is_not_found(session: Session):
    with pytest.raises(NotFound, match="no cycle with the id 99"):
        cycles.get(session, 99)
