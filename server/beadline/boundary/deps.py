"""What a route asks for: a session that writes or only reads, and the person at the other end."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated

from fastapi import Depends, Form, Request
from sqlalchemy.exc import OperationalError as OperationalError  # and this error
from sqlalchemy.orm import Session as Session  # a route can name this type without knowing SQL
from sqlalchemy.orm import sessionmaker as sessionmaker

from beadline.boundary import cookies, form_token
from beadline.kit import clock
from beadline.kit.errors import Forbidden, SignInNeeded
from beadline.settings import Settings
from beadline.store.tables import User


@dataclass(frozen=True, slots=True)
class Person:
    """Who sent a request, and what the role allows.

    Attributes
    ----------
    user : User
        The account; detached, so that any session can take it.
    deeds : frozenset of str
        What the role may do.
    csrf_token : str or None
        What a form of this browser must carry; None for programs, which send no cookie.
    """

    user: User
    deeds: frozenset[str]
    csrf_token: str | None


def _unit_of_work(request: Request) -> Iterator[Session]:
    with request.app.state.new_session.begin() as session:
        yield session


def _look(request: Request) -> Iterator[Session]:
    with request.app.state.new_reading_session() as session:
        try:
            yield session
        finally:
            session.rollback()


WriteSession = Annotated[Session, Depends(_unit_of_work, scope="function")]
ReadSession = Annotated[Session, Depends(_look, scope="function")]


async def _now() -> datetime:  # what needs no waiting is not worth a thread
    return clock.now()


Now = Annotated[datetime, Depends(_now)]


async def _settings(request: Request) -> Settings:
    settings: Settings = request.app.state.settings
    return settings


SiteSettings = Annotated[Settings, Depends(_settings)]


def allowed(deed: str) -> Callable[[Request], Awaitable[Person]]:
    """Make the dependency that lets only those pass whose role may do this."""

    async def check(request: Request) -> Person:
        person: Person | None = getattr(request.state, "person", None)
        if person is None:
            raise SignInNeeded("Sign in first.", mend="Sign in, then try again.")
        if person.user.password_is_temporary and not request.url.path.startswith("/account"):
            raise Forbidden(
                "Your password is a temporary one.",
                mend="Choose one of your own on the page Account, then go on.",
                code="temporary-password",
            )
        if deed not in person.deeds:
            raise Forbidden(
                f"Your role ({person.user.role}) may not do this: {deed}.",
                mend="Ask somebody whose role allows it; the Library lists who may do what.",
            )
        return person

    return check


Viewer = Annotated[Person, Depends(allowed("look"))]


async def form_is_ours(request: Request, csrf_token: Annotated[str, Form()] = "") -> None:
    """Let a form pass only if this server gave it to this browser.

    Raises
    ------
    Forbidden
        If the token of the form is not the browser's.
    """
    person: Person | None = getattr(request.state, "person", None)
    if person is not None and person.csrf_token is None:
        return
    expected = person.csrf_token if person else cookies.read(request, cookies.VISIT)
    if not expected or not form_token.fits(csrf_token, expected):
        raise Forbidden(
            "This form is too old or was not made by this server.",
            mend="Load the page again and repeat; nothing was changed.",
            code="stale-form",
        )


OurForm = Depends(form_is_ours)


async def _posted(request: Request) -> dict[str, str]:
    form = await request.form()
    return {name: value for name, value in form.items() if isinstance(value, str)}


Posted = Annotated[dict[str, str], Depends(_posted)]
