"""Migrations: the only way that tables come to be."""

from __future__ import annotations

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from beadline.kit import places


def config() -> Config:
    """Return Alembic's configuration for the migrations that travel with the package."""
    made = Config()
    made.set_main_option("script_location", str(places.folder("migrations")))
    made.set_main_option("path_separator", "os")
    made.set_main_option("file_template", "%%(year)d_%%(month).2d_%%(day).2d_%%(slug)s")
    return made


def upgrade(engine: Engine, revision: str = "head") -> None:
    """Bring the database to a revision, in one transaction."""
    made = config()
    with engine.begin() as connection:
        made.attributes["connection"] = connection
        command.upgrade(made, revision)


def downgrade(engine: Engine, revision: str) -> None:
    """Take the database back to a revision, in one transaction."""
    made = config()
    with engine.begin() as connection:
        made.attributes["connection"] = connection
        command.downgrade(made, revision)


def is_current(engine: Engine) -> bool:
    """Tell whether the database has every table that this version expects."""
    head = ScriptDirectory.from_config(config()).get_current_head()
    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision() == head
