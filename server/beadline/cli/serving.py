"""The server's life: it starts, warms up, and stops without cutting anybody off."""

from __future__ import annotations

import ctypes
import importlib
import signal
import socket
import threading
from contextlib import suppress

import uvicorn

from beadline import app, worker
from beadline.settings import Settings

WARM_AFTER_S = 2.0
KEEP_ALIVE_S = 75  # longer than programs and proxies keep theirs, lest one is closed as they send again
M_ARENA_MAX, ARENAS = -8, 2  # of glibc's malloc.h
STOP_WITHIN_S = 30  # what is under way may take that long once a signal has come


class _Server(uvicorn.Server):
    """A server that ends the streams first: pages that hear news would hold their connections open."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self.config.app.state.stopping.set()  # type: ignore[union-attr]
        await super().shutdown(sockets)


def run(settings: Settings) -> None:
    """Serve until SIGTERM or SIGINT; what is under way then is answered."""
    _share_memory()
    warming = threading.Timer(WARM_AFTER_S, warm)
    warming.daemon = True
    warming.start()
    stop_worker = worker.beside(settings) if settings.send_notices else None
    server = _Server(
        uvicorn.Config(
            app.build(settings),
            host=settings.host,
            port=settings.port,
            log_config=None,
            log_level="warning",
            timeout_keep_alive=KEEP_ALIVE_S,
            timeout_graceful_shutdown=STOP_WITHIN_S,
        )
    )
    # the server takes the signals for itself, and repeats them once it has stopped: that must not kill us
    signal.signal(signal.SIGTERM, lambda *_: None)
    try:
        server.run()
    except KeyboardInterrupt:
        pass
    finally:
        if stop_worker is not None:
            stop_worker()


def _share_memory() -> None:
    """Let threads take memory from the same few heaps: what one of them freed another can use then."""
    with suppress(AttributeError, OSError, TypeError):  # only glibc has a heap for each
        ctypes.CDLL(None).mallopt(M_ARENA_MAX, ARENAS)


def warm() -> None:
    """Load what the first file would have to wait for; the start itself does not wait for it."""
    for name in ("pandas", "pint", "scipy.interpolate", "scipy.linalg", "scipy.ndimage", "scipy.optimize"):
        importlib.import_module(name)
