"""Copy a SQLite database while it is in use, and take a copy back."""

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
        If the database is not a SQLite file, or the copy is not sound.
    """
    source = _file_of(url)
    if not source.is_file():
        raise NotFound(f"There is no database at {source}.", mend="Check BEADLINE_DATABASE_URL.")
    folder.mkdir(parents=True, exist_ok=True)
    target = folder / f"beadline-{at:%Y%m%dT%H%M%SZ}.db"
    unfinished = target.with_suffix(".part")
    unfinished.unlink(missing_ok=True)
    with closing(sqlite3.connect(source)) as living, closing(sqlite3.connect(unfinished)) as copy:
        living.backup(copy, pages=PAGES)
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

    The server must not be running. The database that was there is kept beside the restored one.

    Raises
    ------
    NotFound
        If the backup or its checksum is missing.
    Conflict
        If the backup is not what was written, or somebody has the present database open.
    """
    target = _file_of(url)
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


def _file_of(url: str) -> Path:
    parsed = make_url(url)
    if parsed.get_backend_name() != "sqlite" or not parsed.database or parsed.database == ":memory:":
        raise Conflict(
            "This command copies SQLite databases.",
            mend="Back PostgreSQL up with pg_dump, or with the server's own continuous archive.",
        )
    return Path(parsed.database)


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
