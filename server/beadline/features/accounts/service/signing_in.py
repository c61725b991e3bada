"""Sign people in and out."""

from __future__ import annotations

import hashlib
import math
import secrets
from datetime import datetime, timedelta

from sqlalchemy.orm import Session, sessionmaker

from beadline.features.accounts import queries
from beadline.features.accounts.schemas import NewSignIn
from beadline.features.accounts.service import passwords
from beadline.features.records import service as records
from beadline.kit.errors import Invalid, TooMany
from beadline.store.tables import SignIn, User

TRIES = 5
LOCKED_FOR = timedelta(minutes=15)

LONGEST = timedelta(days=7)  # then the password is asked for again, however busy the browser was


def check_password(session: Session, *, name: str, password: str, at: datetime) -> User | None:
    """Return the user if name and password fit, None if not; count and lock after repeated failures.

    Raises
    ------
    TooMany
        If the account is locked after repeated failures.
    """
    user = queries.user_named(session, name)
    if user is not None and user.locked_until is not None and user.locked_until > at:
        raise TooMany(
            "Too many failed tries to sign in.",
            mend="Wait 15 minutes, or ask an administrator.",
            after_s=math.ceil((user.locked_until - at).total_seconds()),
        )
    fitting = passwords.fits(user.password_hash if user else None, password)
    if not fitting or user is None or not user.active:
        if user is not None:
            _count_failure(session, user, at)
        return None
    user.failed_sign_ins, user.locked_until = 0, None
    return user


def confirmed(new_session: sessionmaker[Session], user: User, password: str, *, at: datetime) -> bool:
    """Tell whether a password given again to sign fits; in its own transaction, so that a failure counts."""
    with new_session.begin() as session:
        return check_password(session, name=user.name, password=password, at=at) is not None


def confirm(new_session: sessionmaker[Session], user: User, password: str, *, at: datetime) -> None:
    """Let only who owns the password sign; a failure counts, whatever becomes of the caller's transaction.

    Raises
    ------
    Invalid
        If it does not fit.
    TooMany
        If the account is locked after repeated failures.
    """
    if not confirmed(new_session, user, password, at=at):
        raise not_yours()


def not_yours() -> Invalid:
    """Return the refusal of a signature whose password does not fit."""
    mend = "Give the one that you chose in Beadline; signing asks for it again."
    return Invalid("This is not your password.", where="password", mend=mend)


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


def start_sign_in(session: Session, user: User, *, at: datetime, through: str = "") -> NewSignIn:
    """Sign a user in; the caller has checked the password, or asked the provider that is named."""
    made = NewSignIn(token=secrets.token_urlsafe(32), csrf_token=secrets.token_urlsafe(24))
    session.add(
        SignIn(
            token_sha256=sha256(made.token),
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
        said=f"{user.name} signed in" + (f" through {through}" if through else ""),
    )
    return made


def end_sign_in(session: Session, token: str, *, at: datetime) -> None:
    """Sign the browser with this token out; one that is unknown is out already."""
    found = queries.sign_in(session, sha256(token))
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
    found = queries.sign_in(session, sha256(token))
    if found is not None and found.ended_at is None:
        found.seen_at = at


def find_sign_in(session: Session, token: str, *, at: datetime, idle: timedelta) -> SignIn | None:
    """Return the living sign-in that a cookie's token belongs to."""
    found = queries.sign_in(session, sha256(token))
    if found is None or found.ended_at is not None or not found.user.active:
        return None
    return None if _is_over(found, at=at, idle=idle) else found


def living_sign_ins(session: Session, user: User, *, at: datetime, idle: timedelta) -> list[SignIn]:
    """Return where a person is signed in, the browser used last before the others."""
    found = queries.living_sign_ins(session, user.id)
    return [one for one in found if not _is_over(one, at=at, idle=idle)]


def _is_over(found: SignIn, *, at: datetime, idle: timedelta) -> bool:
    return found.seen_at + idle < at or found.started_at + LONGEST < at


def end_all(session: Session, user: User, *, at: datetime, but_token: str = "") -> int:
    """Sign a person out of every browser but one; return of how many."""
    kept = sha256(but_token) if but_token else ""
    living = [found for found in queries.living_sign_ins(session, user.id) if found.token_sha256 != kept]
    for found in living:
        found.ended_at = at
    if living:
        records.write(
            session,
            by=user,
            at=at,
            did="sign out",
            thing="account",
            thing_id=user.id,
            said=f"{user.name} was signed out of {len(living)} other browser{'s' if len(living) > 1 else ''}",
        )
    return len(living)


def sha256(token: str) -> str:
    """Return what is kept of a token."""
    return hashlib.sha256(token.encode()).hexdigest()
