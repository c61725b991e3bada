"""What every answer carries, and what no request may exceed."""

from __future__ import annotations

import secrets

from starlette.datastructures import MutableHeaders
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from beadline.boundary import cookies, errors
from beadline.kit.log_lines import REQUEST_ID
from beadline.settings import Settings


def policy(nonce: str) -> str:
    """Return the content security policy: nothing but our own files, no inline script but the import map."""
    return (
        f"default-src 'none'; script-src 'self' 'nonce-{nonce}'; style-src 'self'; "
        "img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    )


class Guard:
    """ASGI middleware: security headers, nonce and id of a request, a visit cookie, a bound on what is sent.

    What nobody caught is answered here, so that such an answer carries the headers too.
    """

    def __init__(self, app: ASGIApp, *, settings: Settings) -> None:
        self.app = app
        self.settings = settings
        self.visit_cookie = cookies.name_of(cookies.VISIT, settings)
        self.most_bytes = settings.max_upload_mb * 1_000_000 + 100_000

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        nonce = secrets.token_urlsafe(16)
        visit = request.cookies.get(self.visit_cookie) or secrets.token_urlsafe(24)
        request_id = secrets.token_hex(8)
        REQUEST_ID.set(request_id)  # a request is a task of its own, and so is what it sets
        scope.setdefault("state", {}).update(nonce=nonce, visit_token=visit, request_id=request_id)
        upload = _Upload(receive, self.most_bytes)

        began = False

        async def headed(message: Message) -> None:
            nonlocal began
            if message["type"] == "http.response.start":
                began = True
                self._add_headers(request, MutableHeaders(scope=message), nonce, visit)
            await send(message)

        async def answered(message: Message) -> None:
            if not upload.too_much:  # else it is what the application makes of a body that was cut short
                await headed(message)

        length = request.headers.get("content-length", "")
        upload.too_much = length.isdecimal() and int(length) > self.most_bytes
        if not upload.too_much:
            try:
                await self.app(scope, upload.part, answered)
            except _TooMuch:
                pass
            except Exception as error:
                if began:  # an answer is on its way; the server can only cut it off
                    raise
                if not upload.too_much:
                    await errors.failed(request, error)(scope, receive, headed)
        if upload.too_much:
            await self._too_much(request)(scope, receive, headed)

    def _add_headers(self, request: Request, headers: MutableHeaders, nonce: str, visit: str) -> None:
        headers["Content-Security-Policy"] = policy(nonce)
        headers["X-Request-Id"] = request.state.request_id
        headers["X-Content-Type-Options"] = "nosniff"
        headers["Referrer-Policy"] = "same-origin"
        headers["Cross-Origin-Opener-Policy"] = "same-origin"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"
        headers["Permissions-Policy"] = "camera=(), microphone=(), geolocation=()"
        if self.settings.secure_cookies:
            headers["Strict-Transport-Security"] = "max-age=31536000; includeSubDomains"
        if self.visit_cookie not in request.cookies and not request.url.path.startswith(
            ("/static/", "/api/")
        ):
            headers.append("Set-Cookie", cookies.header_of(cookies.VISIT, visit, self.settings))

    def _too_much(self, request: Request) -> Response:
        return errors.answer(
            request,
            status=413,
            code="too-large",
            message=f"This file is larger than the {self.settings.max_upload_mb} MB that this server takes.",
            where="file",
            mend="Export one cycle a file or at a coarser interval, or have BEADLINE_MAX_UPLOAD_MB raised.",
        )


class _Upload:
    """The body of a request, in the parts in which it comes; it counts them, whatever the headers say."""

    def __init__(self, receive: Receive, most_bytes: int) -> None:
        self.receive = receive
        self.left = most_bytes
        self.too_much = False

    async def part(self) -> Message:
        message = await self.receive()
        self.left -= len(message.get("body", b""))
        if self.left < 0:
            self.too_much = True
            raise _TooMuch
        return message


class _TooMuch(Exception):
    """More bytes came than are allowed."""
