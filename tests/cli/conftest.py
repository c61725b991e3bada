"""A real server for the commands that talk to one."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
import uvicorn
from fastapi import FastAPI
from tests.sites import Site

from beadline import app
from beadline.settings import Settings


@pytest.fixture
def server(life: Site) -> Iterator[str]:
    """The address of a living server on a bed that has run its healthy cycles."""
    with serving(app.build(Settings(database_url=life.settings.database_url))) as address:
        yield address


@contextmanager
def serving(application: FastAPI) -> Iterator[str]:
    """Run an application behind a real port; give its address."""
    listening = socket.create_server(("127.0.0.1", 0))
    running = uvicorn.Server(uvicorn.Config(application, log_level="warning"))
    thread = threading.Thread(target=running.run, kwargs={"sockets": [listening]})
    thread.start()
    deadline = time.monotonic() + 30
    while not running.started and time.monotonic() < deadline:
        time.sleep(0.02)
    yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    running.should_exit = True
    thread.join(timeout=30)
