"""Make accounts, sign people in and out, and say what each may do."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError
from sqlalchemy.orm import Session

from beadline.features.accounts import queries
from beadline.features.accounts.schemas import ROLES, NewSignIn
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, SignInNeeded, TooMany
from beadline.store.tables import ApiToken, SignIn, User

SHORTEST_PASSWORD = (
    12  # NIST SP 800-63B-4 asks for at least 8 with a second factor, 15 alone; sites may raise it
)
TRIES = 5
LOCKED_FOR = timedelta(minutes=15)

_hasher = PasswordHasher()


def make_user(
    session: Session, *, name: str, full_name: str, role: str, password: str, by: User | None, at: datetime
) -> User:
    """Make an account.

    Raises
    ------
    Invalid
        If name, role or password can't be used.
    Conflict
        If the name is taken; names are never given twice.
    """
    name = name.strip()
    if not name or len(name) > 64 or not all(c.isalnum() or c in "._-@" for c in name):
        raise Invalid(
            f"{name!r} can't be a user name.", where="name", mend="Use letters, digits and . _ - @, up to 64."
        )
    if role not in ROLES:
        raise Invalid(f"There is no role {role!r}.", where="role", mend=f"Choose one of {', '.join(ROLES)}.")
    if len(password) < SHORTEST_PASSWORD:
        raise Invalid(
            "This password is too short.",
            where="password",
            mend=f"Use at least {SHORTEST_PASSWORD} characters; a sentence is fine.",
        )
    if queries.user_named(session, name):
        raise Conflict(
            f"There is already an account named {name}.", where="name", mend="Choose another name."
        )
    user = User(
        name=name,
        full_name=full_name.strip() or name,
        role=role,
        password_hash=_hasher.hash(password),
        created_at=at,
    )
    user.active, user.failed_sign_ins = True, 0
    session.add(user)
    session.flush()  # the record needs its id
    records.write(
        session,
        by=by,
        at=at,
        did="make",
        thing="account",
        thing_id=user.id,
        said=f"Made account {name} ({role})",
    )
    return user


def check_password(session: Session, *, name: str, password: str, at: datetime) -> User | None:
    """Return the user if name and password fit, None if not; count and lock after repeated failures.

    Raises
    ------
    TooMany
        If the account is locked after repeated failures.
    """
    user = queries.user_named(session, name)
    if user is not None and user.locked_until is not None and user.locked_until > at:
        raise TooMany("Too many failed tries to sign in.", mend="Wait 15 minutes, or ask an administrator.")
    if not _fits(user.password_hash if user else _nobodys(), password) or user is None or not user.active:
        if user is not None:
            _count_failure(session, user, at)
        return None
    user.failed_sign_ins, user.locked_until = 0, None
    return user


@cache
def _nobodys() -> str:
    """Return a hash that no password fits, so that an unknown name takes as long to refuse as a known one."""
    return _hasher.hash(secrets.token_urlsafe())


def _fits(password_hash: str, password: str) -> bool:
    try:
        return _hasher.verify(password_hash, password)
    except VerificationError:
        return False


def _count_failure(session: Session, user: User, at: datetime) -> None:
    user.failed_sign_ins += 1
    if user.failed_sign_ins < TRIES:
        return
    user.failed_sign_ins, user.locked_until = 0, at + LOCKED_FOR
    records.write(
        session,
        by=None,
        at=at,
        did="lock",
        thing="account",
        thing_id=user.id,
        said=f"Locked account {user.name} for 15 minutes after {TRIES} failed tries to sign in",
    )


def start_sign_in(session: Session, user: User, *, at: datetime) -> NewSignIn:
    """Sign a user in; the caller has checked the password."""
    made = NewSignIn(token=secrets.token_urlsafe(32), csrf_token=secrets.token_urlsafe(24))
    session.add(
        SignIn(
            token_sha256=_sha256(made.token),
            csrf_token=made.csrf_token,
            user_id=user.id,
            started_at=at,
            seen_at=at,
        )
    )
    records.write(
        session,
        by=user,
        at=at,
        did="sign in",
        thing="account",
        thing_id=user.id,
        said=f"{user.name} signed in",
    )
    return made


def end_sign_in(session: Session, token: str, *, at: datetime) -> None:
    """Sign the browser with this token out; one that is unknown is out already."""
    found = queries.sign_in(session, _sha256(token))
    if found is None or found.ended_at is not None:
        return
    found.ended_at = at
    user = found.user
    records.write(
        session,
        by=user,
        at=at,
        did="sign out",
        thing="account",
        thing_id=user.id,
        said=f"{user.name} signed out",
    )


def note_seen(session: Session, token: str, *, at: datetime) -> None:
    """Note that a browser is still at work, so that it stays signed in."""
    found = queries.sign_in(session, _sha256(token))
    if found is not None and found.ended_at is None:
        found.seen_at = at


def find_sign_in(session: Session, token: str, *, at: datetime, idle: timedelta) -> SignIn | None:
    """Return the living sign-in that a cookie's token belongs to."""
    found = queries.sign_in(session, _sha256(token))
    if found is None or found.ended_at is not None or not found.user.active or found.seen_at + idle < at:
        return None
    return found


def make_api_token(session: Session, user: User, *, name: str, days: int, at: datetime) -> str:
    """Make a token for programs; it is returned once and only its hash is kept."""
    token = "bl_" + secrets.token_urlsafe(32)
    made = ApiToken(
        token_sha256=_sha256(token),
        name=name,
        user_id=user.id,
        created_at=at,
        expires_at=at + timedelta(days=days),
    )
    session.add(made)
    session.flush()  # the record needs its id
    records.write(
        session,
        by=user,
        at=at,
        did="make",
        thing="API token",
        thing_id=made.id,
        said=f"Made API token {name!r}, valid {days} days",
    )
    return token


def user_of_token(session: Session, token: str, *, at: datetime) -> User:
    """Return the user whose living token this is.

    Raises
    ------
    SignInNeeded
        If the token is unknown, revoked or out of date.
    """
    found = queries.api_token(session, _sha256(token))
    if found is None or found.revoked_at is not None or found.expires_at < at or not found.user.active:
        raise SignInNeeded(
            "This API token is not valid.", mend="Make a new one, or check that it was copied whole."
        )
    return found.user


def _sha256(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def everyone(session: Session) -> Sequence[User]:
    """Return all accounts by name."""
    return queries.users(session)
