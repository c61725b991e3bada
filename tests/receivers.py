"""Other ends for notices: a real mail server and a real HTTP receiver, started, stopped and started again."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable
from email import message_from_bytes, policy
from email.message import EmailMessage
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

from aiosmtpd.controller import Controller
from tests.serving import free_port


class Mailbox:
    """A mail server on the loopback that keeps what it takes."""

    def __init__(self) -> None:
        self.port = free_port()
        self.mails: list[EmailMessage] = []
        self.refusal = ""
        self._controller: Controller | None = None

    def start(self) -> None:
        """Listen."""
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port)
        self._controller.start()

    def stop(self) -> None:
        """Die; what was taken is kept."""
        if self._controller is not None:
            self._controller.stop()
            self._controller = None

    async def handle_DATA(self, _server: Any, _session: Any, envelope: Any) -> str:  # noqa: N802
        """Take a mail, or refuse it."""
        if self.refusal:
            return self.refusal
        mail = message_from_bytes(envelope.content, policy=policy.default)
        assert isinstance(mail, EmailMessage)
        self.mails.append(mail)
        return "250 taken"


class Hook:
    """An HTTP receiver on the loopback that keeps what is posted to it."""

    def __init__(self) -> None:
        self.port = free_port()
        self.got: list[tuple[dict[str, str], bytes]] = []
        self.status = 204
        self.on_post: Callable[[], None] = lambda: None
        self._server: ThreadingHTTPServer | None = None

    @property
    def address(self) -> str:
        """Where to post."""
        return f"http://127.0.0.1:{self.port}/in/a1b2c3"

    @property
    def contents(self) -> list[dict[str, Any]]:
        """What was posted."""
        return [json.loads(body) for _, body in self.got]

    def start(self) -> None:
        """Listen."""
        hook = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                hook.on_post()
                if hook.status < 300:
                    hook.got.append((dict(self.headers), body))
                self.send_response(hook.status)
                self.send_header("Location", "http://127.0.0.1:1/elsewhere")
                self.end_headers()

            def log_message(self, *_: Any) -> None:
                """Say nothing."""

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self._server.daemon_threads = True
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def stop(self) -> None:
        """Die; what was taken is kept."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None
