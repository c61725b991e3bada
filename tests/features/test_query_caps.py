"""Pages ask the database a fixed number of questions, however many beds and cycles there are."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest
from sqlalchemy import event
from tests import builders, sites
from tests.builders import HEALTHY
from tests.sites import DOTTEREL, PLOVER, Site
from tests.visitors import Visitor, bearer

from beadline.features.accounts import queries as account_queries

# statements for the whole request: who asks (1), alerts that wait (1), begin and the like not counted
MOST = {
    "/": 8,
    "/calendar": 12,
    "/columns/{tag}": 18,
    "/columns/{tag}/cycles/2": 18,
    "/alerts": 8,
    "/records": 8,
}


@contextmanager
def counted(site: Site) -> Iterator[list[str]]:
    """Gather the statements that are sent to the database."""
    said: list[str] = []

    def note(_connection, _cursor, statement: str, *_more: object) -> None:
        if statement.lstrip().upper().startswith(("SELECT", "INSERT", "UPDATE", "WITH")):
            said.append(statement)

    event.listen(site.engine, "before_cursor_execute", note)
    yield said
    event.remove(site.engine, "before_cursor_execute", note)


def statements(site: Site, visitor: Visitor, path: str) -> int:
    with counted(site) as said:
        assert visitor.get(path).status_code == 200
    return len(said)


def add_beds(site: Site, many: int) -> None:
    with site.writing() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        for number in range(many):
            builders.make_packing(session, builders.a_bed(f"Stint {chr(65 + number)}"), by=engineer)


def post(site: Site, column: str, numbers: range) -> None:
    credentials = bearer(site.token("operator"))
    for number in numbers:
        bed = PLOVER if column == PLOVER.column.name else DOTTEREL
        file = builders.make_cycle_file(bed, number)
        assert site.post_run(file, credentials=credentials, column=column).status_code == 201


@pytest.mark.parametrize("path", ["/", "/calendar"])
def test_a_page_of_all_beds_does_not_ask_more_for_more_beds(site: Site, path: str):
    post(site, "Plover", range(1, 3))
    visitor = site.visitor("viewer")
    few = statements(site, visitor, path)
    add_beds(site, 12)
    post(site, "Dotterel", range(1, 3))
    assert statements(site, visitor, path) == few <= MOST[path]


@pytest.mark.parametrize("path", ["/columns/{tag}", "/columns/{tag}/cycles/2"])
def test_a_column_does_not_ask_more_for_more_cycles(open_site: Callable[..., Site], path: str):
    asked = []
    for fill, extra in (
        (sites.fill_beds, range(1, 4)),
        (sites.fill_healthy_life, range(HEALTHY + 1, HEALTHY + 5)),
    ):
        site = open_site(fill)
        post(site, "Plover", extra)
        asked.append(statements(site, site.visitor("viewer"), path.format(tag=PLOVER.column.asset_tag)))
    young, old = asked
    assert old <= young + 2  # a baseline and an alert are there to be read
    assert old <= MOST[path]


def test_a_column_of_24_cycles_asks_as_much_as_one_of_22(life: Site):
    path = f"/columns/{PLOVER.column.asset_tag}"
    visitor = life.visitor("viewer")
    asked = []
    for numbers in (range(HEALTHY + 1, HEALTHY + 3), range(HEALTHY + 3, HEALTHY + 5)):
        post(life, "Plover", numbers)
        asked.append(statements(life, visitor, path))
    assert asked[0] == asked[1]


@pytest.mark.parametrize("path", ["/alerts", "/records"])
def test_lists_ask_a_bounded_number(life: Site, path: str):
    post(life, "Plover", range(HEALTHY + 1, HEALTHY + 4))
    assert statements(life, life.visitor("viewer"), path) <= MOST[path]


def test_logging_a_run_does_not_ask_more_the_older_the_bed_is(life: Site):
    post(life, "Plover", range(HEALTHY + 1, HEALTHY + 4))  # the alert is raised and has worsened
    credentials = bearer(life.token("operator"))
    asked = []
    for number in range(HEALTHY + 4, HEALTHY + 8):
        with counted(life) as said:
            life.post_run(builders.make_cycle_file(PLOVER, number), credentials=credentials)
        asked.append(len(said))
    assert max(asked) <= 48  # eight of them before the transaction that records
    assert max(asked) - min(asked) <= 1  # the alert's evidence may stay as it was
