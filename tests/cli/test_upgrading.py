"""The guide to upgrade and rollback, walked with its own commands on a database of an earlier version."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from tests import builders
from tests.migrations.test_migrations import STEPS
from tests.sites import PLOVER, Site
from tests.visitors import bearer

from beadline.cli import main
from beadline.kit import places
from beadline.store import migrate
from beadline.store.engine import make_engine

OLD = STEPS[-2]  # the revision that the version before knew
Captured = pytest.CaptureFixture[str]


def orders(title: str) -> list[str]:
    """The commands that stand under a title of the guide; those for other programs are left out."""
    guide = (places.folder("web") / "help" / "upgrading.md").read_text("utf-8")
    section = guide.split(f"\n## {title}\n")[1].split("\n## ")[0]
    blocks = "".join(re.findall(r"```sh\n(.*?)```", section, re.DOTALL))
    return re.findall(r"^as_beadline (.*)$", blocks, re.MULTILINE)


def give(order: str, backups: Path) -> None:
    """Run a command of the guide, with names that are there."""
    copy = next((path.name for path in backups.glob("*.db")), "")
    names = {"/var/backups/beadline": str(backups), "REVISION": OLD, "COPY.db": copy}
    for name, real in names.items():
        order = order.replace(name, real)
    assert main(order.split()) == 0, order


@pytest.fixture
def old(life: Site, monkeypatch: pytest.MonkeyPatch) -> str:
    """The URL of a life's database with the tables of the version before, stopped."""
    url = life.settings.database_url
    life.close()
    engine = make_engine(url)
    migrate.downgrade(engine, OLD)
    engine.dispose()
    monkeypatch.setenv("BEADLINE_DATABASE_URL", url)
    return url


def upgraded(url: str, backups: Path) -> None:
    """Upgrade as the guide says, and log a run with the new version."""
    assert main(["serve"]) == 1
    for order in orders("Upgrade"):
        give(order, backups)
    site = Site(url)
    assert site.client.get("/ready").status_code == 200
    run = builders.make_cycle_file(PLOVER, builders.HEALTHY + 1)
    assert site.post_run(run, credentials=bearer(site.token("operator"))).status_code == 201
    site.close()


def cycles(url: str) -> tuple[str | None, int]:
    """The revision of a database, and how many cycles it holds."""
    engine = make_engine(url)
    with engine.connect() as connection:
        many: int = connection.exec_driver_sql("select count(*) from cycles").scalar_one()
    found = migrate.revision_of(engine), many
    engine.dispose()
    return found


@pytest.fixture
def backups(old: str, tmp_path: Path) -> Path:
    if not old.startswith("sqlite"):
        pytest.skip("PostgreSQL brings tools of its own")
    return tmp_path / "backups"


def test_the_way_back_that_keeps_what_was_logged_since(old: str, backups: Path):
    upgraded(old, backups)
    for order in orders("Back, keeping what was logged since"):
        give(order, backups)
    assert cycles(old) == (OLD, builders.HEALTHY + 1)
    assert main(["migrate"]) == 0
    assert main(["verify"]) == 0


def test_the_way_back_to_the_copy(old: str, backups: Path, capsys: Captured):
    upgraded(old, backups)
    restore, verify = orders("Back to the copy")
    give(restore, backups)
    assert "run `beadline migrate`" in capsys.readouterr().out
    assert cycles(old) == (OLD, builders.HEALTHY)
    assert main(["migrate"]) == 0  # a test has no old code to go on with
    give(verify, backups)


def test_the_revision_is_told_and_an_unknown_one_refused(old: str, capsys: Captured):
    assert main(["migrate", "--show"]) == 0
    told = capsys.readouterr().out
    assert f"revision {OLD}." in told
    assert f"needs revision {migrate.head()}." in told
    assert main(["migrate", "--to", "spoonbills"]) == 1
    assert "no revision 'spoonbills'" in capsys.readouterr().err
    assert cycles(old)[0] == OLD
