"""Commands that work on the server's own database."""

from __future__ import annotations

import getpass
import json
import os
import signal
import threading
from pathlib import Path

from sqlalchemy import Engine

from beadline import worker
from beadline.cli import progress, serving
from beadline.demo import loading, people
from beadline.features.accounts import service as accounts
from beadline.kit import clock, log_lines
from beadline.kit.errors import Conflict
from beadline.settings import Settings, demo_settings, load
from beadline.store import migrate as migrations
from beadline.store.engine import make_engine, reading_sessions, writing_sessions

FIRST = "admin"  # the account that the first start makes


def serve() -> int:
    """Run the server on the database that the settings name."""
    settings = load()
    _need_tables(settings)
    _need_people(settings)
    log_lines.begin(settings.log_level)
    print(f"Beadline listens at http://{settings.host}:{settings.port}; stop with Ctrl-C.", flush=True)
    serving.run(settings)
    return 0


def work() -> int:
    """Send notices until a signal says stop; what is being sent then is finished."""
    settings = load()
    _need_tables(settings)
    log_lines.begin(settings.log_level)
    stop = threading.Event()
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: stop.set())
    print("Beadline sends notices; stop with Ctrl-C.", flush=True)
    worker.Worker(settings).run(stop)
    return 0


def _need_tables(settings: Settings) -> None:
    engine = make_engine(settings.database_url)
    fits = migrations.fits(engine)
    engine.dispose()
    if not fits:
        raise Conflict(
            "The database's tables are not those of this version.", mend="Run `beadline migrate` first."
        )


def _need_people(settings: Settings) -> None:
    """Refuse accounts that everybody can open; make the first administrator where there is no account."""
    engine = make_engine(settings.database_url)
    with writing_sessions(engine).begin() as session:
        known = people.known_to_everybody(session)
        if known:
            raise Conflict(
                f"The demo's password, which everybody knows, opens {', '.join(known)} in this database.",
                mend="Use `beadline demo` to look at the demo, and a database of your own for the plant.",
            )
        if not accounts.everyone(session):
            given = accounts.temporary_password()
            accounts.make_user(
                session,
                name=FIRST,
                full_name="",
                role="administrator",
                password=given,
                temporary=True,
                by=None,
                at=clock.now(),
            )
            print(f"First start: sign in as {FIRST} with {given}, and choose a password of your own.")
    engine.dispose()


def demo(folder: Path, *, port: int, load_only: bool) -> int:
    """Load the invented plant if it is not there yet, and run the server on it."""
    folder.mkdir(parents=True, exist_ok=True)
    settings = demo_settings(folder, port=port)
    engine = make_engine(settings.database_url)
    if not migrations.is_current(engine):
        migrations.upgrade(engine)
    with reading_sessions(engine)() as session:
        loaded = people.are_there(session)
    if not loaded:
        _load(engine)
    engine.dispose()
    if load_only:
        return 0
    print(
        f"\n  Beadline with the demo plant: http://{settings.host}:{settings.port}\n"
        "  Sign in as ines (operator), enid (engineer), quinn (quality), vera (viewer)\n"
        f"  or ada (administrator); the password of all is {people.PASSWORD}\n"
        "  Every plant, column and batch in it is invented. Stop with Ctrl-C.\n",
        flush=True,
    )
    serving.run(settings)
    return 0


def _load(engine: Engine) -> None:
    print("Making the demo plant: its traces come from a physical model and are analysed now.", flush=True)
    loading.load(writing_sessions(engine), today=clock.now().date(), progress=progress.show)


def migrate(*, to: str = "", show: bool = False, as_json: bool = False) -> int:
    """Bring the tables to this version or to a revision, or say which they are."""
    engine = make_engine(load().database_url)
    if not show:
        migrations.move(engine, to or migrations.head())
    found, current = migrations.revision_of(engine), migrations.is_current(engine)
    engine.dispose()
    if as_json:
        print(json.dumps({"revision": found, "needed": migrations.head(), "current": current}))
        return 0
    print(f"The database's tables are those of revision {found or '(none)'}.")
    if not current:
        print(f"This version needs revision {migrations.head()}.")
    return 0


def add_person(name: str, *, full_name: str, role: str, as_json: bool = False) -> int:
    """Make an account; the password comes from BEADLINE_PASSWORD or a prompt."""
    password = os.environ.get("BEADLINE_PASSWORD") or getpass.getpass(f"Password for {name}: ")
    engine = make_engine(load().database_url)
    with writing_sessions(engine).begin() as session:
        made = accounts.make_user(
            session, name=name, full_name=full_name, role=role, password=password, by=None, at=clock.now()
        )
        told = {"id": made.id, "name": made.name, "full_name": made.full_name, "role": made.role}
    print(json.dumps(told, ensure_ascii=False) if as_json else f"Made account {name} ({role}).")
    return 0
