"""The first start of a plant's server, and the one that is refused: a password that everybody knows."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import Engine
from tests.visitors import Visitor, add_person

from beadline import app
from beadline.cli import main, running
from beadline.demo import people
from beadline.features.accounts import service as accounts
from beadline.kit import clock
from beadline.settings import Settings
from beadline.store import migrate
from beadline.store.engine import make_engine, reading_sessions, writing_sessions


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    made = Settings(database_url=f"sqlite:///{tmp_path / 'first.db'}", allowed_hosts="testserver")
    engine = make_engine(made.database_url)
    migrate.upgrade(engine)
    engine.dispose()
    return made


@pytest.fixture
def engine(settings: Settings) -> Engine:
    return make_engine(settings.database_url)


def test_the_first_start_makes_an_administrator_who_chooses_a_password(
    settings: Settings, capsys: pytest.CaptureFixture[str]
):
    running._need_people(settings)
    found = re.search(r"sign in as admin with (\S+), and choose", capsys.readouterr().out)
    assert found
    browser = Visitor(TestClient(app.build(settings)))
    answer = browser.post("/sign-in", {"name": "admin", "password": found[1]}, token_from="/sign-in")
    assert answer.headers["location"] == "/account"
    assert "temporary" in browser.page("/people", 403)
    running._need_people(settings)
    assert capsys.readouterr().out == ""


def test_a_site_that_has_people_gets_no_other_administrator(settings: Settings, engine: Engine):
    with writing_sessions(engine).begin() as session:
        add_person(session, "ada", role="administrator")
    running._need_people(settings)
    with reading_sessions(engine)() as session:
        assert [user.name for user in accounts.everyone(session)] == ["ada"]


def test_the_demos_password_stops_the_start_outside_the_demo(
    settings: Settings,
    engine: Engine,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
):
    with writing_sessions(engine).begin() as session:
        accounts.make_user(
            session,
            name="ada",
            full_name="Ada",
            role="administrator",
            password=people.PASSWORD,
            by=None,
            at=clock.now(),
        )
    monkeypatch.setenv("BEADLINE_DATABASE_URL", settings.database_url)
    assert main(["serve"]) == 1
    assert "everybody knows, opens ada" in capsys.readouterr().err
