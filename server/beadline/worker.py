"""Where what comes late is put together: the worker that sends notices.

A step claims what one route is to be told, writes the message, hands it over, and says what came of it.
Each is a transaction of its own, so that nothing is locked while the other end is slow. A worker that dies
in between leaves a claim, which another takes over after its lease: a message may come twice, never not
at all.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from datetime import datetime

from sqlalchemy.orm import Session, sessionmaker

from beadline.features.notices import jobs
from beadline.features.notices import service as notices
from beadline.kit import clock
from beadline.settings import Settings
from beadline.store.engine import make_engine, reading_sessions, writing_sessions

PAUSE_S = 2.0
PAUSE_AFTER_ERROR_S = 15.0
LOG = logging.getLogger("beadline.worker")


class Worker:
    """Sends notices until it is told to stop."""

    def __init__(self, settings: Settings, *, now: Callable[[], datetime] = clock.now) -> None:
        self.settings = settings
        self.now = now
        self.engine = make_engine(settings.database_url, connections=settings.database_connections)
        self.new_session: sessionmaker[Session] = writing_sessions(self.engine)
        self.new_reading_session: sessionmaker[Session] = reading_sessions(self.engine)

    def run(self, stop: threading.Event) -> None:
        """Work until `stop` is set; what is being sent then is finished."""
        while not stop.is_set():
            try:
                pause = 0.0 if self.step() else PAUSE_S
            except Exception:  # the database may be away for a while; the outbox keeps everything
                LOG.exception("The worker could not go on; it tries again in %.0f s.", PAUSE_AFTER_ERROR_S)
                pause = PAUSE_AFTER_ERROR_S
            stop.wait(pause)
        self.engine.dispose()

    def step(self) -> bool:
        """Send what one route is to be told; return whether there was anything."""
        at = self.now()
        with self.new_reading_session() as session:
            if not notices.anything_due(session, at=at):
                return False
        with self.new_session.begin() as session:
            notices.escalate(session, at=at)
        with self.new_session.begin() as session:
            claim = notices.claim(session, at=at)
        if not claim:
            return False
        error = self._send(claim, at)
        with self.new_session.begin() as session:
            notices.settle(session, claim, error=error, at=self.now())
        return True

    def _send(self, claim: str, at: datetime) -> str:
        """Write and hand over what is held under a claim; return what went wrong, if anything did."""
        site = self.settings
        try:
            with self.new_reading_session() as session:
                parcel = notices.parcel(
                    session,
                    claim,
                    address=site.address,
                    zone=site.site_timezone,
                    demo=site.demo,
                    at=at,
                )
            if parcel is not None:
                jobs.deliver(parcel, site)
        except jobs.NotDelivered as error:
            return str(error)
        except Exception as error:  # one message that can't be written must not keep the others waiting
            LOG.exception("A message could not be written.")
            return f"The message could not be written: {type(error).__name__}."
        return ""


def beside(settings: Settings) -> Callable[[], None]:
    """Start a worker in a thread beside the server; return what stops it."""
    stop = threading.Event()
    thread = threading.Thread(target=Worker(settings).run, args=(stop,), name="notices", daemon=True)
    thread.start()

    def stopped() -> None:
        stop.set()
        thread.join(timeout=5.0)

    return stopped
