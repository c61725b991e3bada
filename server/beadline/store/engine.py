"""The engine and the two kinds of session: one that writes, one that only reads."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.orm import Session, sessionmaker

READ_ONLY = "beadline_read_only"
CONNECTIONS = 20


def make_engine(url: str, *, connections: int = CONNECTIONS) -> Engine:
    """Build the engine for a database URL; nothing connects yet. Its errors don't show what was to be stored.

    It holds so many connections at most; who needs one more waits until one is given back.
    SQLite runs with a write-ahead log, full synchronisation (a confirmed run survives a power cut)
    and foreign keys on; a writing transaction takes its lock at the start, so that it never has to
    be repeated because of another writer.
    """
    parsed = make_url(url)
    pool: dict[str, Any] = {"pool_size": connections, "max_overflow": 0}
    if parsed.get_backend_name() != "sqlite":
        return create_engine(parsed, hide_parameters=True, pool_pre_ping=True, **pool)
    if parsed.database in (None, "", ":memory:"):
        pool = {}
    else:
        Path(parsed.database).parent.mkdir(parents=True, exist_ok=True)
    engine = create_engine(parsed, hide_parameters=True, connect_args={"timeout": 30}, **pool)
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: object) -> None:
    connection.isolation_level = None
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "busy_timeout=30000"):
        connection.execute(f"PRAGMA {pragma}")


def _begin_sqlite(connection: Connection) -> None:
    read_only = connection.get_execution_options().get(READ_ONLY, False)
    connection.exec_driver_sql("BEGIN" if read_only else "BEGIN IMMEDIATE")


def writing_sessions(engine: Engine) -> sessionmaker[Session]:
    """Return the factory of sessions whose transaction may write."""
    return sessionmaker(engine, expire_on_commit=False)


def reading_sessions(engine: Engine) -> sessionmaker[Session]:
    """Return the factory of sessions that only read and always roll back."""
    return sessionmaker(engine.execution_options(**{READ_ONLY: True}), autoflush=False)


def is_full(error: Exception) -> bool:
    """Tell whether a database could not write because its disk is full."""
    origin = getattr(error, "orig", None)
    return (
        getattr(origin, "sqlite_errorname", "") == "SQLITE_FULL" or getattr(origin, "sqlstate", "") == "53100"
    )
