"""Answers to programs that ask again: 304 and no body where nothing has changed since."""

from __future__ import annotations

import hashlib

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send


class Etags:
    """ASGI middleware: an entity tag on each JSON answer to a GET of the interface for programs.

    The tag is a hash over the answer, so that it is right whatever the answer was made from.
    """

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        reads = scope["type"] == "http" and scope["method"] == "GET" and scope["path"].startswith("/api/")
        if not reads:
            await self.app(scope, receive, send)
            return
        await self.app(scope, receive, _Tagging(Headers(scope=scope).get("if-none-match", ""), send).send)


class _Tagging:
    """Holds a JSON answer until it is whole, and lets all others through."""

    def __init__(self, known: str, onward: Send) -> None:
        self.known = {one.strip().removeprefix("W/") for one in known.split(",")}
        self.onward = onward
        self.start: Message | None = None
        self.body = b""

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_json(message):
            self.start = message
        elif self.start is None or message["type"] != "http.response.body":
            await self.onward(message)
        else:
            self.body += message.get("body", b"")
            if not message.get("more_body", False):
                await self._finish(self.start)

    async def _finish(self, start: Message) -> None:
        headers = MutableHeaders(scope=start)
        tag = f'"{hashlib.sha256(self.body).hexdigest()[:32]}"'
        headers["ETag"] = tag
        headers["Cache-Control"] = "private, no-cache"
        if tag in self.known or "*" in self.known:
            start["status"], self.body = 304, b""
            del headers["content-type"], headers["content-length"]
        await self.onward(start)
        await self.onward({"type": "http.response.body", "body": self.body})


def _is_json(start: Message) -> bool:
    kind = Headers(raw=start["headers"]).get("content-type", "")
    return start["status"] == 200 and kind.partition(";")[0] == "application/json"
