"""How often somebody may change something: no runaway program, and no guessing, keeps others from working.

Counted in the memory of one process: behind several server processes each has a count of its own, so the
site as a whole takes as many times more.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Callable

from starlette.requests import Request
from starlette.types import ASGIApp, Receive, Scope, Send

from beadline.boundary import errors
from beadline.boundary.deps import Person
from beadline.kit.errors import TooMany

MOST_KEYS = 10_000  # remembered at once; who has been quiet for a minute is forgotten first
QUIET = ("GET", "HEAD", "OPTIONS")
SAID = "That is more than {} changes in a minute."
MEND = "Wait for as many seconds as Retry-After says; nothing was stored."


class Pace:
    """A bucket for each key that holds a minute's worth and fills up evenly."""

    def __init__(self, per_minute: int, *, now: Callable[[], float] = time.monotonic) -> None:
        self.per_minute = per_minute
        self.now = now
        self._left: dict[str, tuple[float, float]] = {}
        self._lock = threading.Lock()

    def wait_s(self, key: str) -> int:
        """Count one for a key; return 0, or how many seconds it has to wait if there was none left."""
        at = self.now()
        with self._lock:
            left, since = self._left.pop(key, (float(self.per_minute), at))
            left = min(float(self.per_minute), left + (at - since) * self.per_minute / 60)
            if len(self._left) >= MOST_KEYS:
                self._forget(at)
            self._left[key] = (left - 1 if left >= 1 else left, at)  # the last used is the last in the dict
        return 0 if left >= 1 else math.ceil((1 - left) * 60 / self.per_minute)

    def _forget(self, at: float) -> None:
        quiet = [key for key, (_, seen) in self._left.items() if seen + 60 < at]
        for key in quiet or [next(iter(self._left))]:
            del self._left[key]


def of_person(request: Request) -> None:
    """Let a person change things at the site's pace.

    Raises
    ------
    TooMany
        If it is too fast.
    """
    person: Person | None = getattr(request.state, "person", None)
    if person is None or request.method in QUIET:
        return
    pace: Pace = request.app.state.pace
    after_s = pace.wait_s(person.user.name)
    if after_s:
        raise TooMany(SAID.format(pace.per_minute), mend=MEND, after_s=after_s)


class PaceOfAddresses:
    """ASGI middleware: bound what one address may change, or try to sign in with, before it is read."""

    def __init__(self, app: ASGIApp, *, pace: Pace) -> None:
        self.app = app
        self.pace = pace

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "http":
            request = Request(scope)
            after_s = self.pace.wait_s(_address(request)) if _costs(request) else 0
            if after_s:
                said = SAID.format(self.pace.per_minute)
                refused = errors.answer(
                    request, status=429, code="too-many", message=said, mend=MEND, retry_after_s=after_s
                )
                return await refused(scope, receive, send)
        return await self.app(scope, receive, send)


def _costs(request: Request) -> bool:
    """Tell whether a request changes something, has a password checked or the identity provider asked."""
    if request.url.path.startswith("/sign-in/provider"):
        return True
    by_password = request.headers.get("authorization", "").lower().startswith("basic")
    return request.method not in QUIET or by_password


def _address(request: Request) -> str:
    return request.client.host if request.client else ""
