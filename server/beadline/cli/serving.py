"""The server's life: it starts, warms up, and stops without cutting anybody off."""

from __future__ import annotations

import importlib
import signal
import socket
import threading

import uvicorn

from beadline import app, worker
from beadline.settings import Settings

WARM_AFTER_S = 2.0
STOP_WITHIN_S = 30  # what is under way may take that long once a signal has come


class _Server(uvicorn.Server):
    """A server that ends the streams first: pages that hear news would hold their connections open."""

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        self.config.app.state.stopping.set()  # type: ignore[union-attr]
        await super().shutdown(sockets)


def run(settings: Settings) -> None:
    """Serve until SIGTERM or SIGINT; what is under way then is answered."""
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


def warm() -> None:
    """Load what the first file would have to wait for; the start itself does not wait for it."""
    for name in ("pandas", "pint", "scipy.interpolate", "scipy.linalg", "scipy.ndimage", "scipy.optimize"):
        importlib.import_module(name)
