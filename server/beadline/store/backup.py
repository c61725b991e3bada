"""Copy a database while it is in use, and take a copy back; a copy is a SQLite file, whatever it is of."""

from __future__ import annotations

import hashlib
import os
import shutil
import sqlite3
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlalchemy.engine import make_url

from beadline.kit.errors import Conflict, NotFound
from beadline.store import transfer

PIECE = 1 << 20  # bytes read at a time
PAGES = 2000  # copied between two looks at what others wrote


@dataclass(frozen=True, slots=True)
class Copied:
    """A backup: the file, its size in bytes and its SHA-256, which lies beside it."""

    path: Path
    size: int
    sha256: str


def back_up(url: str, folder: Path, *, at: datetime) -> Copied:
    """Copy the database into a folder while others write; the copy is whole, as of the moment it ends.

    The checksum lies beside the copy, in the form that `sha256sum --check` reads.

    Raises
    ------
    Conflict
        If the database's tables are not those of this version, or the copy is not sound.
    """
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / f"beadline-{at:%Y%m%dT%H%M%SZ}.db"
    unfinished = target.with_suffix(".part")
    unfinished.unlink(missing_ok=True)
    if _is_file(url):
        _copy_file(_file_of(url), unfinished)
    else:
        transfer.to_file(url, unfinished)
    with closing(sqlite3.connect(unfinished)) as copy:
        copy.execute("pragma journal_mode=delete")
    _check_sound(unfinished)
    _to_disk(unfinished)
    unfinished.replace(target)
    made = Copied(target, target.stat().st_size, _sha256(target))
    _checksum_of(target).write_text(f"{made.sha256}  {target.name}\n")
    _to_disk(_checksum_of(target))
    return made


def restore(url: str, backup: Path, *, at: datetime) -> Path | None:
    """Put a backup where the settings say the database is; return where the present one was moved to.

    The server must not be running. A SQLite database that was there is kept beside the restored one; one of
    PostgreSQL must be empty.

    Raises
    ------
    NotFound
        If the backup or its checksum is missing.
    Conflict
        If the backup is not what was written, somebody has the present database open, or it is not empty.
    """
    if not backup.is_file() or not _checksum_of(backup).is_file():
        raise NotFound(
            f"{backup} or its checksum {_checksum_of(backup).name} is missing.",
            mend="Give the .db file that `beadline backup` wrote, with its .sha256 file beside it.",
        )
    if _checksum_of(backup).read_text().split()[:1] != [_sha256(backup)]:
        raise Conflict(
            f"{backup.name} is not the file that was backed up: its checksum differs.",
            mend="Use another backup, and find out what changed this one.",
        )
    _check_sound(backup)
    if not _is_file(url):
        transfer.from_file(backup, url)
        return None
    target = _file_of(url)
    target.parent.mkdir(parents=True, exist_ok=True)
    arriving = target.with_suffix(".arriving")
    shutil.copyfile(backup, arriving)
    _to_disk(arriving)
    kept = _set_aside(target, at)
    arriving.replace(target)
    return kept


def _set_aside(target: Path, at: datetime) -> Path | None:
    if not target.exists():
        return None
    try:
        with closing(sqlite3.connect(target, timeout=1, isolation_level=None)) as present:
            present.execute("pragma locking_mode=exclusive")
            present.execute("begin exclusive")
            present.execute("commit")
            present.execute("pragma wal_checkpoint(truncate)")
            present.execute("pragma journal_mode=delete")
    except sqlite3.OperationalError as error:
        mend = "Stop the server and every other program that uses it, then try again."
        raise Conflict("The present database is in use.", mend=mend) from error
    except sqlite3.DatabaseError:
        pass  # it is harmed, which may be why a backup is wanted; it is kept as it is
    kept = target.with_name(f"{target.stem}-before-{at:%Y%m%dT%H%M%SZ}{target.suffix}")
    target.replace(kept)
    for log in ("-wal", "-shm"):  # what a harmed database left; the restored one must not read it
        left = target.with_name(target.name + log)
        if left.exists():
            left.replace(kept.with_name(kept.name + log))
    return kept


def _copy_file(source: Path, target: Path) -> None:
    if not source.is_file():
        raise NotFound(f"There is no database at {source}.", mend="Check BEADLINE_DATABASE_URL.")
    with closing(sqlite3.connect(source)) as living, closing(sqlite3.connect(target)) as copy:
        living.backup(copy, pages=PAGES)


def _is_file(url: str) -> bool:
    return make_url(url).get_backend_name() == "sqlite"


def _file_of(url: str) -> Path:
    database = make_url(url).database
    if not database or database == ":memory:":
        raise NotFound("This database lies in memory alone.", mend="Name a file in BEADLINE_DATABASE_URL.")
    return Path(database)


def _checksum_of(path: Path) -> Path:
    return path.with_name(path.name + ".sha256")


def _check_sound(path: Path) -> None:
    try:
        with closing(sqlite3.connect(path)) as copy:
            said = copy.execute("pragma integrity_check").fetchone()[0]
    except sqlite3.DatabaseError as error:
        said = str(error)
    if said != "ok":
        raise Conflict(f"{path.name} is not a sound database: {said}.", mend="Use another backup.")


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(PIECE):
            digest.update(piece)
    return digest.hexdigest()


def _to_disk(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
