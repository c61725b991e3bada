"""The whole application in a test, with the database beneath it within reach."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import AbstractContextManager

from fastapi.testclient import TestClient
from httpx import Response
from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session
from tests import builders, visitors
from tests.visitors import Visitor

from beadline import app
from beadline.boundary import cookies
from beadline.demo.recording import TraceFile
from beadline.features.accounts import queries as account_queries
from beadline.features.accounts import service as accounts
from beadline.kit import clock
from beadline.settings import Settings
from beadline.store import migrate
from beadline.store.base import Base
from beadline.store.engine import make_engine, writing_sessions

PLOVER = builders.a_cracking_bed("Plover")
SLOW_PLOVER = builders.a_bed("Plover", changes=builders.SLOW_CRACK)
DOTTEREL = builders.a_bed("Dotterel", skid="semicolon comma")


class Site:
    """An application on a database, asked in-process; nothing in it is replaced."""

    def __init__(self, url: str, **settings: object) -> None:
        usual = {
            "allowed_hosts": "testserver,localhost",
            "live_seconds": 0,  # the test's client reads to the end
            "changes_per_minute": 100_000,
            "changes_per_minute_of_address": 100_000,
        }
        self.settings = Settings(database_url=url, **(usual | settings))  # type: ignore[arg-type]
        self.app = app.build(self.settings)
        self.client = TestClient(self.app)
        self.engine: Engine = self.app.state.engine

    def close(self) -> None:
        """Let go of the database."""
        self.client.close()
        self.engine.dispose()

    def writing(self) -> AbstractContextManager[Session]:
        """Open a transaction beside the application; it commits at its end."""
        return writing_sessions(self.engine).begin()

    def counts(self) -> dict[str, int]:
        """How many rows each table has."""
        with self.engine.connect() as connection:
            return {
                name: connection.execute(select(func.count()).select_from(table)).scalar_one()
                for name, table in Base.metadata.tables.items()
            }

    def visitor(self, role: str) -> Visitor:
        """A browser that is signed in; without the form, since a password is slow to check on purpose."""
        with self.writing() as session:
            user = account_queries.user_named(session, role)
            assert user is not None
            made = accounts.start_sign_in(session, user, at=clock.now())
        name = cookies.name_of(cookies.SIGN_IN, self.settings)
        return Visitor(TestClient(self.app, cookies={name: made.token}))

    def token(self, role: str) -> str:
        """A token for a program."""
        with self.writing() as session:
            user = account_queries.user_named(session, role)
            assert user is not None
            return visitors.token_of(session, user)

    def post_run(
        self,
        file: TraceFile | tuple[str, bytes],
        *,
        credentials: Mapping[str, str],
        column: str = PLOVER.column.name,
        **facts: str,
    ) -> Response:
        """Post a run as a program does."""
        sent = (file.filename, file.content) if isinstance(file, TraceFile) else file
        return self.client.post(
            "/api/v1/runs", data={"column": column, **facts}, files={"file": sent}, headers=dict(credentials)
        )


def fill_nothing(url: str) -> None:
    """Make an empty database."""
    engine = make_engine(url)
    engine.connect().close()
    engine.dispose()


def fill_people(url: str) -> None:
    """Make all tables, by the migrations, and an account a role."""
    engine = make_engine(url)
    migrate.upgrade(engine)
    with writing_sessions(engine).begin() as session:
        visitors.add_people(session)
    engine.dispose()


def fill_beds(url: str) -> None:
    """Add two packed columns: Plover, which will crack, and Dotterel."""
    fill_people(url)
    engine = make_engine(url)
    with writing_sessions(engine).begin() as session:
        engineer = account_queries.user_named(session, "engineer")
        assert engineer is not None
        for bed in (PLOVER, DOTTEREL):
            builders.make_packing(session, bed, by=engineer)
    engine.dispose()


def fill_healthy_life(url: str) -> None:
    """Post the healthy cycles of Plover as its skid would."""
    fill_beds(url)
    site = Site(url)
    credentials = visitors.bearer(site.token("operator"))
    for number in range(1, builders.HEALTHY + 1):
        answer = site.post_run(builders.make_cycle_file(PLOVER, number), credentials=credentials)
        assert answer.status_code == 201, answer.text
    site.close()


def crack_slowly(site: Site, level: str, *, after: int = builders.HEALTHY) -> int:
    """Post cycles of a slowly cracking bed until its alert is raised at a level; return the last number."""
    credentials = visitors.bearer(site.token("operator"))
    for number in range(after + 1, after + 13):
        answer = site.post_run(builders.make_cycle_file(SLOW_PLOVER, number), credentials=credentials)
        assert answer.status_code == 201, answer.text
        raised = answer.json()["alert"]
        if raised:
            assert raised["level"] == level
            return number
    raise AssertionError(f"No {level} after 12 cycles.")


def fill_cracked_life(url: str) -> None:
    """Go on until Plover's bed has cracked, and its alert been raised at the action level."""
    fill_healthy_life(url)
    site = Site(url)
    credentials = visitors.bearer(site.token("operator"))
    for number in range(builders.HEALTHY + 1, builders.HEALTHY + 6):
        answer = site.post_run(builders.make_cycle_file(PLOVER, number), credentials=credentials)
        assert answer.status_code == 201, answer.text
    site.close()
