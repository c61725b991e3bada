"""Our cookies: out of reach for scripts, and over TLS bound to this host, so that no other sets them."""

from __future__ import annotations

from fastapi import Request, Response

from beadline.settings import Settings

VISIT = "beadline_visit"
SIGN_IN = "beadline_sign_in"
SIGN_ON = "beadline_sign_on"


def name_of(cookie: str, settings: Settings) -> str:
    """Return the name under which a cookie travels; browsers take `__Host-` from its own host alone."""
    return f"__Host-{cookie}" if settings.secure_cookies else cookie


def read(request: Request, cookie: str) -> str:
    """Return what a browser brought; nothing if it brought no such cookie."""
    return request.cookies.get(name_of(cookie, request.app.state.settings), "")


def keep(
    request: Request, response: Response, cookie: str, value: str, *, max_age_s: int | None = None
) -> None:
    """Give a browser a cookie; without an age it goes when the browser is closed."""
    header = header_of(cookie, value, request.app.state.settings, max_age_s=max_age_s)
    response.headers.append("Set-Cookie", header)


def forget(request: Request, response: Response, cookie: str) -> None:
    """Take a cookie from a browser."""
    keep(request, response, cookie, "", max_age_s=0)


def header_of(cookie: str, value: str, settings: Settings, *, max_age_s: int | None = None) -> str:
    """Return the header that sets a cookie."""
    parts = [f"{name_of(cookie, settings)}={value}", "Path=/", "HttpOnly", "SameSite=Lax"]
    parts += ["Secure"] if settings.secure_cookies else []
    parts += [] if max_age_s is None else [f"Max-Age={max_age_s}"]
    return "; ".join(parts)
