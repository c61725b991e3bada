"""Migrations: one head, each undoes itself, and together they make the tables that the code expects."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, inspect, text

import beadline.store.tables  # noqa: F401  (fills the metadata)
from beadline.kit import places
from beadline.kit.errors import Conflict
from beadline.store import migrate
from beadline.store.base import Base

pytestmark = pytest.mark.every_dialect

INDEXING = "large_tables_are_indexed"
SCRIPTS = ScriptDirectory.from_config(migrate.config())
STEPS = [script.revision for script in reversed(list(SCRIPTS.walk_revisions()))]
FILES = sorted((places.folder("migrations") / "versions").glob("*.py"))


def differences(engine: Engine) -> list[object]:
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        return list(compare_metadata(context, Base.metadata))


def schema(engine: Engine) -> dict[str, object]:
    """Tables, columns, indexes, constraints and triggers, as the database tells."""
    eye = inspect(engine)
    found: dict[str, object] = {}
    for table in eye.get_table_names():
        if table == "alembic_version":
            continue
        found[table] = {
            "columns": [(c["name"], str(c["type"]), c["nullable"]) for c in eye.get_columns(table)],
            "indexes": sorted(str(i["name"]) for i in eye.get_indexes(table)),
            "checks": sorted(str(c["name"]) for c in eye.get_check_constraints(table)),
            "foreign": sorted(str(k["name"]) for k in eye.get_foreign_keys(table)),
        }
    return found | {"triggers": triggers(engine)}


def triggers(engine: Engine) -> list[str]:
    sqlite = "select name from sqlite_master where type = 'trigger'"
    postgresql = "select tgname from pg_trigger where not tgisinternal"
    with engine.connect() as connection:
        query = sqlite if engine.dialect.name == "sqlite" else postgresql
        return sorted(connection.execute(text(query)).scalars())


def test_there_is_one_head_and_one_start():
    assert len(SCRIPTS.get_heads()) == 1
    assert len(SCRIPTS.get_bases()) == 1


def test_the_tables_are_those_of_the_metadata(engine: Engine):
    assert differences(engine) == []
    assert migrate.is_current(engine)


def test_a_missing_column_would_be_noticed(engine: Engine):
    with engine.begin() as connection:
        connection.execute(text("alter table cycles drop column note"))
    assert len(differences(engine)) == 1


def test_each_step_undoes_itself(empty: Engine):
    before = [schema(empty)]
    for step in STEPS:
        migrate.upgrade(empty, step)
        before.append(schema(empty))
    for step, expected in zip(["base", *STEPS][-2::-1], before[-2::-1], strict=True):
        migrate.downgrade(empty, step)
        assert schema(empty) == expected, step
    migrate.upgrade(empty)
    assert schema(empty) == before[-1]


def test_a_database_without_tables_is_not_current(empty: Engine):
    assert not migrate.is_current(empty)
    assert not migrate.fits(empty)


def written(engine: Engine) -> dict[tuple[str, str], tuple[str, bool, bool]]:
    """Each column's type, whether it may be null, and whether it may be left out."""
    eye = inspect(engine)
    return {
        (table, column["name"]): (
            str(column["type"]),
            column["nullable"],
            column["nullable"] or column["default"] is not None,
        )
        for table in eye.get_table_names()
        for column in eye.get_columns(table)
    }


def test_each_step_leaves_what_older_servers_read_and_write(empty: Engine):
    """Expand first: they go on while it runs, and know nothing of what was added."""
    before = written(empty)
    for step in STEPS:
        migrate.upgrade(empty, step)
        after = written(empty)
        assert {place: after.get(place) for place in before} == before, step
        tables = {table for table, _ in before}
        added = {place: how for place, how in after.items() if place not in before and place[0] in tables}
        assert not [place for place, (_, _, can_be_left_out) in added.items() if not can_be_left_out], step
        before = after


def test_a_server_goes_on_when_a_later_version_has_added_to_its_tables(engine: Engine):
    with engine.begin() as connection:
        connection.execute(text("alter table cycles add column of_the_future integer"))
        connection.execute(text("update alembic_version set version_num = 'of_the_future'"))
    assert migrate.fits(engine)
    assert not migrate.is_current(engine)
    with engine.begin() as connection:
        connection.execute(text("update alembic_version set version_num = 'first_tables'"))
    assert not migrate.fits(engine)


def test_a_migration_waits_for_a_table_only_for_a_while(empty: Engine):
    """Else everybody who asks for that table after it would wait with it."""
    if empty.dialect.name == "sqlite":
        pytest.skip("SQLite has one lock for all, and its own time limit")
    before = SCRIPTS.get_revision(INDEXING).down_revision
    migrate.upgrade(empty, str(before))
    with empty.begin() as busy:
        busy.execute(text("lock table cycles in row exclusive mode"))
        with pytest.raises(Conflict, match="in use for longer than 1 s"):
            migrate.upgrade(empty, wait_s=1)
    assert migrate.revision_of(empty) == before
    migrate.upgrade(empty)


def test_migrating_twice_changes_nothing(engine: Engine):
    before = schema(engine)
    migrate.upgrade(engine)
    assert schema(engine) == before


def test_records_are_guarded_by_triggers(engine: Engine):
    expected = {"sqlite": ["records_no_delete", "records_no_update"], "postgresql": ["records_only_grow"]}
    assert triggers(engine) == expected[engine.dialect.name]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_no_migration_imports_the_package(path: Path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    modules = [n.module or "" for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)]
    modules += [alias.name for n in ast.walk(tree) if isinstance(n, ast.Import) for alias in n.names]
    assert not [name for name in modules if name.split(".")[0] == "beadline"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_migration_is_named_by_its_date_and_subject(path: Path):
    script = next(s for s in SCRIPTS.walk_revisions() if Path(s.path) == path)
    assert path.stem[11:] == script.revision
    assert path.stem[:10].replace("_", "").isdigit()
