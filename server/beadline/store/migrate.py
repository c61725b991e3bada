"""Migrations: the only way that tables come to be."""

from __future__ import annotations

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError

from beadline.kit import places
from beadline.kit.errors import Conflict, NotFound

WAIT_S = 5
LOCK_NOT_AVAILABLE = "55P03"  # PostgreSQL manual, appendix A


def config() -> Config:
    """Return Alembic's configuration for the migrations that travel with the package."""
    made = Config()
    made.set_main_option("script_location", str(places.folder("migrations")))
    made.set_main_option("path_separator", "os")
    made.set_main_option("file_template", "%%(year)d_%%(month).2d_%%(day).2d_%%(slug)s")
    return made


def upgrade(engine: Engine, revision: str = "head", *, wait_s: int = WAIT_S) -> None:
    """Bring the database to a revision, in one transaction; servers may go on meanwhile.

    Raises
    ------
    Conflict
        If somebody holds a table for longer than `wait_s`, behind which everybody else would queue too.
    """
    try:
        _upgrade(engine, revision, wait_s)
    except OperationalError as error:
        if getattr(error.orig, "sqlstate", "") != LOCK_NOT_AVAILABLE:
            raise
        raise Conflict(
            f"A table was in use for longer than {wait_s} s, so nothing was changed.",
            mend="Try again when no recomputation, import or backup runs.",
        ) from error


def _upgrade(engine: Engine, revision: str, wait_s: int) -> None:
    made = config()
    with engine.begin() as connection:
        if connection.dialect.name == "postgresql":
            connection.exec_driver_sql(f"set local lock_timeout = '{wait_s:d}s'")
        made.attributes["connection"] = connection
        command.upgrade(made, revision)


def downgrade(engine: Engine, revision: str) -> None:
    """Take the database back to a revision, in one transaction."""
    made = config()
    with engine.begin() as connection:
        made.attributes["connection"] = connection
        command.downgrade(made, revision)


def move(engine: Engine, revision: str) -> None:
    """Take the database to a revision, forward or back.

    Raises
    ------
    NotFound
        If this version knows no such revision.
    """
    behind = [script.revision for script in _scripts().walk_revisions("base", revision_of(engine) or "base")]
    if revision not in [script.revision for script in _scripts().walk_revisions()]:
        raise NotFound(
            f"There is no revision {revision!r}.",
            mend="`beadline migrate --show` tells the revision of a database and that of a version.",
        )
    (downgrade if revision in behind else upgrade)(engine, revision)


def revision_of(engine: Engine) -> str | None:
    """Tell which revision the database's tables are; None if it has none."""
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def head() -> str:
    """Tell which revision this version expects."""
    return str(_scripts().get_current_head())


def is_current(engine: Engine) -> bool:
    """Tell whether the database has every table that this version expects."""
    return revision_of(engine) == head()


def fits(engine: Engine) -> bool:
    """Tell whether this version can work on the tables: its own, or those that a later one has added to.

    No release takes away what the one before it reads or writes, so servers go on through an upgrade.
    """
    found = revision_of(engine)
    older = {script.revision for script in _scripts().walk_revisions()} - {head()}
    return found is not None and found not in older


def _scripts() -> ScriptDirectory:
    return ScriptDirectory.from_config(config())
