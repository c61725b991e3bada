"""Carry every row from one database to another, whichever engines they are; both have the same tables.

So a backup of PostgreSQL is a SQLite file as well: it needs no tool of PostgreSQL's version, anybody can
look into it, and it can be restored on either engine.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from alembic.util.exc import CommandError
from sqlalchemy import Connection, Engine

from beadline.kit.errors import Conflict
from beadline.store import migrate
from beadline.store.base import Base
from beadline.store.engine import make_engine

AT_ONCE = 200  # rows held in memory


def to_file(url: str, path: Path) -> None:
    """Write all of a database, as of one moment, into a new SQLite file while others go on writing.

    Raises
    ------
    Conflict
        If the database's tables are not those of this version.
    """
    with _opened(url) as engine:
        if not migrate.is_current(engine):
            said = f"The database's tables are of revision {migrate.revision_of(engine)}."
            raise Conflict(
                said, mend=f"Use the version of Beadline that runs on them; this one has {migrate.head()}."
            )
        with _opened(f"sqlite:///{path}") as file:
            migrate.upgrade(file)
            snapshot = engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
            with snapshot.connect() as source, file.begin() as target:
                _carry(source, target)


def from_file(path: Path, url: str) -> None:
    """Fill an empty database from a SQLite file, all or nothing; the file itself is not touched.

    Raises
    ------
    Conflict
        If the database holds anything, or a newer version of Beadline wrote the file.
    """
    with _opened(url) as engine, tempfile.TemporaryDirectory(prefix="beadline-") as folder:
        _refuse_unless_empty(engine)
        own = Path(folder) / "backup.db"
        shutil.copyfile(path, own)
        with _opened(f"sqlite:///{own}") as file:
            try:
                migrate.upgrade(file)  # a backup of an older version is brought up to this one
            except CommandError as error:
                mend = "Restore it with the version of Beadline that wrote it, or a newer one."
                raise Conflict(f"{path.name} is of a newer version of Beadline.", mend=mend) from error
            migrate.upgrade(engine)
            with file.connect() as source, engine.begin() as target:
                _carry(source, target)
                _number_on(target)


@contextmanager
def _opened(url: str) -> Iterator[Engine]:
    engine = make_engine(url)
    try:
        yield engine
    finally:
        engine.dispose()


def _refuse_unless_empty(engine: Engine) -> None:
    there = set(sa.inspect(engine).get_table_names())
    with engine.connect() as connection:
        for table in Base.metadata.sorted_tables:
            if table.name not in there:
                continue
            if connection.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
                said = f"The database {engine.url.database} is not empty, and stays as it is."
                raise Conflict(said, mend="Make an empty one and name it in BEADLINE_DATABASE_URL.")


def _carry(source: Connection, target: Connection) -> None:
    for table in Base.metadata.sorted_tables:
        key = table.primary_key.columns.values()
        rows = source.execution_options(yield_per=AT_ONCE).execute(_taken(table, source).order_by(*key))
        put = sa.insert(sa.table(table.name, *(sa.column(one.name, _put(one)) for one in table.columns)))
        for some in rows.mappings().partitions():
            target.execute(put, [dict(row) for row in some])


def _taken(table: sa.Table, source: Connection) -> sa.Select[Any]:
    """Ask for all columns: JSON as the text that is stored, and bytes as they lie there."""
    return sa.select(*(_as_stored(one, source).label(one.name) for one in table.columns))


def _as_stored(column: sa.Column[Any], source: Connection) -> sa.ColumnElement[Any]:
    if isinstance(column.type, sa.JSON):
        text = sa.Text()
        return sa.cast(column, text) if source.dialect.name == "postgresql" else sa.type_coerce(column, text)
    return sa.type_coerce(column, sa.LargeBinary()) if _is_bytes(column) else column


def _put(column: sa.Column[Any]) -> sa.types.TypeEngine[Any]:
    if isinstance(column.type, sa.JSON):
        return sa.types.NullType()  # it is text already, and the database takes it for what the column is
    return sa.LargeBinary() if _is_bytes(column) else column.type


def _is_bytes(column: sa.Column[Any]) -> bool:
    kind = column.type
    return isinstance(kind, sa.LargeBinary) or (
        isinstance(kind, sa.types.TypeDecorator) and isinstance(kind.impl_instance, sa.LargeBinary)
    )


def _number_on(target: Connection) -> None:
    """Let new rows get numbers after those that were carried; SQLite does so by itself."""
    if target.dialect.name != "postgresql":
        return
    for table in Base.metadata.sorted_tables:
        if "id" in table.columns:
            newest = sa.select(sa.func.coalesce(sa.func.max(table.c.id), 0) + 1).scalar_subquery()
            numbers = sa.func.pg_get_serial_sequence(table.name, "id")
            target.execute(sa.select(sa.func.setval(numbers, newest, False)))
