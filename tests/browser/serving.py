"""The application in a thread, on a free port of the loopback."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from fastapi import APIRouter
from tests.serving import on_loopback

from beadline import app
from beadline.settings import Settings


@contextmanager
def served(settings: Settings, *more: APIRouter) -> Iterator[str]:
    """Serve the application with these settings; gives its address."""
    built = app.build(settings)
    for router in more:
        built.include_router(router)
    with on_loopback(built) as address:
        yield address
