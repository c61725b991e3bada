"""Signing in and out, and who sends a request."""

from __future__ import annotations

import base64
import binascii
from contextlib import suppress
from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Form, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import cookies, templates
from beadline.boundary.deps import (
    Now,
    OperationalError,
    OurForm,
    Person,
)
from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import CALENDAR, NewSignIn, deeds_of, within
from beadline.kit import clock
from beadline.kit.errors import Forbidden, Refusal, SignInNeeded
from beadline.settings import Settings
from beadline.store.tables import User

router = APIRouter()
SEEN_EVERY = timedelta(minutes=5)
CALENDAR_PATH = "/api/v1/calendar.ics"


def identify(request: Request) -> None:
    """Find out who sends a request, by the browser's cookie or the program's credentials.

    Raises
    ------
    SignInNeeded
        If credentials are given that are not valid.
    """
    credentials = request.headers.get("authorization", "")
    of_program = request.url.path.startswith("/api/")
    if of_program and credentials:
        request.state.person = _person_of_credentials(request, credentials)
        return
    if request.url.path == CALENDAR_PATH and "token" in request.query_params:
        request.state.person = _person_of_address(request, request.query_params["token"])
        return
    if of_program and request.method not in ("GET", "HEAD"):
        return  # a cookie goes along with what other sites send, and programs send no form token
    token = cookies.read(request, cookies.SIGN_IN)
    if token:
        request.state.person = _person_of_cookie(request, token)


def _person_of_cookie(request: Request, token: str) -> Person | None:
    state, now = request.app.state, clock.now()
    idle = timedelta(minutes=state.settings.session_minutes)
    with state.new_reading_session() as session:
        found = accounts.find_sign_in(session, token, at=now, idle=idle)
        if found is None:
            return None
        user, csrf_token, seen_at = found.user, found.csrf_token, found.seen_at
        session.expunge_all()
    if seen_at + SEEN_EVERY < now:
        # a full disk must not keep people from looking
        with suppress(OperationalError), state.new_session.begin() as session:
            accounts.note_seen(session, token, at=now)
    return Person(user, deeds_of(user.role), csrf_token)


def _person_of_address(request: Request, token: str) -> Person:
    """Take a token that stands in an address only if it opens nothing but the calendar."""
    state = request.app.state
    with state.new_reading_session() as session:
        found = accounts.living_token(session, token, at=clock.now())
        user, scope = found.user, found.scope
        session.expunge_all()
    if scope != CALENDAR:
        said = "This token opens more than the calendar, so it must not stand in an address."
        raise SignInNeeded(said, mend="Revoke it, and make one for the calendar.")
    return Person(user, within(deeds_of(user.role), scope), None)


def _person_of_credentials(request: Request, credentials: str) -> Person:
    kind, _, rest = credentials.partition(" ")
    state, now = request.app.state, clock.now()
    if kind.lower() == "bearer":
        with state.new_reading_session() as session:
            found = accounts.living_token(session, rest.strip(), at=now)
            user, scope = found.user, found.scope
            session.expunge_all()
        return Person(user, within(deeds_of(user.role), scope), None)
    if kind.lower() != "basic":
        raise SignInNeeded(
            "Only Basic and Bearer credentials are taken.", mend="Send a name and password or a token."
        )
    try:
        name, _, password = base64.b64decode(rest, validate=True).decode().partition(":")
    except (binascii.Error, UnicodeDecodeError) as error:
        raise SignInNeeded("These Basic credentials can't be read.", mend="Send them as base64.") from error
    user_or_none = sign_in_attempt(request, name, password)
    if user_or_none is None:
        raise SignInNeeded("Name and password do not fit.", mend="Check both.")
    return Person(user_or_none, deeds_of(user_or_none.role), None)


def sign_in_attempt(request: Request, name: str, password: str) -> User | None:
    """Check a password in a transaction of its own, so that a failure is counted whatever comes after.

    Raises
    ------
    Forbidden
        If it fits, but this site lets its owner in through the identity provider alone.
    """
    state = request.app.state
    with state.new_session.begin() as session:
        user = accounts.check_password(session, name=name, password=password, at=clock.now())
    if user is not None and user.provider_name and state.settings.oidc_only:
        raise Forbidden(
            "Your password signs here, but does not sign you in.",
            mend=f"Sign in with {state.settings.oidc_label}; a program takes a token.",
            code="provider-only",
        )
    return user


def safe_path(then: str) -> str:
    """Return the page that was asked for if it is one of ours, else the first page."""
    return then if then.startswith("/") and not then.startswith(("//", "/\\")) and "\n" not in then else "/"


@router.get("/sign-in", name="sign_in_page")
def sign_in_page(request: Request, then: str = "/") -> Response:
    """Show the form."""
    return form(request, then=then)


@router.post("/sign-in", dependencies=[OurForm])
def sign_in(
    request: Request,
    now: Now,
    name: Annotated[str, Form()] = "",
    password: Annotated[str, Form()] = "",
    then: Annotated[str, Form()] = "/",
) -> Response:
    """Sign a browser in."""
    try:
        user = sign_in_attempt(request, name, password)
    except Refusal as refusal:
        return form(request, then=then, name=name, refusal=refusal)
    if user is None:
        wrong = SignInNeeded("Name and password do not fit.", mend="Check both.")
        return form(request, then=then, name=name, refusal=wrong)
    with request.app.state.new_session.begin() as session:
        made = accounts.start_sign_in(session, user, at=now)
    return signed_in(request, user, made, then=then)


def form(request: Request, *, then: str = "/", name: str = "", refusal: Refusal | None = None) -> Response:
    """Show where one signs in, and why it was refused."""
    settings: Settings = request.app.state.settings
    context = {
        "then": safe_path(then),
        "refusal": refusal,
        "name": name,
        "provider": settings.oidc_label if settings.oidc_issuer else "",
    }
    return templates.render(
        request, "accounts/sign_in.html", context, status=refusal.status if refusal else 200
    )


def signed_in(request: Request, user: User, made: NewSignIn, *, then: str) -> Response:
    """Give a browser the cookie of its sign-in, and lead it to where it wanted to go."""
    to = "/account" if user.password_is_temporary else safe_path(then)
    response = RedirectResponse(to, status_code=303, headers={"Cache-Control": "no-store"})
    cookies.keep(request, response, cookies.SIGN_IN, made.token)
    return response


@router.post("/sign-out", dependencies=[OurForm])
def sign_out(request: Request, now: Now) -> Response:
    """Sign this browser out."""
    with request.app.state.new_session.begin() as session:
        accounts.end_sign_in(session, cookies.read(request, cookies.SIGN_IN), at=now)
    response = RedirectResponse("/sign-in", status_code=303)
    cookies.forget(request, response, cookies.SIGN_IN)
    return response
