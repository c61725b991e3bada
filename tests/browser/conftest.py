"""A real server on a free port with a database of its own, and a real Chromium to look at it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from tests.browser import sample
from tests.browser.serving import served
from tests.browser.visits import PASSWORD

from beadline.demo import loading
from beadline.features.accounts import service as accounts
from beadline.kit import clock
from beadline.settings import Settings
from beadline.store import migrate
from beadline.store.engine import make_engine, writing_sessions


@dataclass(frozen=True, slots=True)
class Site:
    """A running server."""

    address: str
    settings: Settings


def _missing(what: str) -> None:
    if "browser" in os.environ.get("BEADLINE_TESTS_REQUIRE", ""):
        pytest.fail(f"{what}, and BEADLINE_TESTS_REQUIRE asks for the browser tests")
    pytest.skip(what)


@pytest.fixture(scope="session")
def chromium_path() -> str:
    """Where Chromium is; without it the browser tests are skipped, or fail if they are required."""
    found = os.environ.get("BEADLINE_TESTS_CHROMIUM") or shutil.which("chromium") or ""
    if not found or not Path(found).exists():
        _missing("Chromium is neither on PATH as `chromium` nor at BEADLINE_TESTS_CHROMIUM")
    return found


@pytest.fixture(scope="session")
def browser(chromium_path: str) -> Iterator[Browser]:
    with sync_playwright() as playwright:
        flags = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]
        opened = playwright.chromium.launch(executable_path=chromium_path, args=flags)
        yield opened
        opened.close()


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """A server with an empty, migrated database and one account a role."""
    folder = tmp_path_factory.mktemp("site")
    settings = Settings(database_url=f"sqlite:///{folder / 'beadline.db'}", demo=True)
    engine = make_engine(settings.database_url)
    migrate.upgrade(engine)
    with writing_sessions(engine).begin() as session:
        for role in ("viewer", "operator", "engineer", "quality", "administrator"):
            accounts.make_user(
                session,
                name=role,
                full_name=role.capitalize(),
                role=role,
                password=PASSWORD,
                by=None,
                at=clock.now() - timedelta(days=1),
            )
    engine.dispose()
    with served(settings, sample.router) as address:
        yield Site(address, settings)


@pytest.fixture(scope="session")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the demo plant's beds Knot and Sanderling."""
    path = tmp_path_factory.mktemp("loaded") / "plant.db"
    engine = make_engine(f"sqlite:///{path}")
    migrate.upgrade(engine)
    loading.load(
        writing_sessions(engine),
        today=clock.now().date(),
        progress=lambda done, total: None,
        only=("Knot 1", "Sanderling 1"),
    )
    engine.dispose()
    return path


@pytest.fixture(scope="module")
def plant_database(loaded: Path, tmp_path_factory: pytest.TempPathFactory) -> str:
    """The address of a copy of these beds, which the tests of one file change."""
    return f"sqlite:///{shutil.copy(loaded, tmp_path_factory.mktemp('plant') / 'plant.db')}"


@pytest.fixture(scope="module")
def plant(plant_database: str) -> Iterator[str]:
    """A server with these beds."""
    with served(Settings(database_url=plant_database, demo=True)) as address:
        yield address


@pytest.fixture
def context(browser: Browser, site: Site) -> Iterator[BrowserContext]:
    opened = browser.new_context(base_url=site.address)
    yield opened
    opened.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page that may say nothing on its console: no error, no refused style or script."""
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    opened.on("pageerror", lambda error: said.append(str(error)))
    yield opened
    assert [text for text in said if "status of 4" not in text] == []
