"""Tokens for programs."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlalchemy.orm import Session

from beadline.features.accounts import queries
from beadline.features.accounts.schemas import TOKEN_SCOPES
from beadline.features.accounts.service.signing_in import sha256
from beadline.features.records import service as records
from beadline.kit.errors import Invalid, NotFound, SignInNeeded
from beadline.store.tables import ApiToken, User

MOST_DAYS = 400


def make_api_token(
    session: Session, user: User, *, name: str, days: int, at: datetime, scope: str = "all"
) -> str:
    """Make a token for programs; it is returned once and only its hash is kept.

    Raises
    ------
    Invalid
        If it has no name, lives too long or has an unknown scope.
    """
    name = name.strip()
    if not name or len(name) > 80:
        mend = "Name the program that will use it, in up to 80 characters."
        raise Invalid("This token needs a name.", where="name", mend=mend)
    if not 1 <= days <= MOST_DAYS:
        mend = f"Choose 1 to {MOST_DAYS} days."
        raise Invalid(f"A token can't be valid for {days} days.", where="days", mend=mend)
    if scope not in TOKEN_SCOPES:
        mend = f"Choose one of {', '.join(TOKEN_SCOPES)}."
        raise Invalid(f"There is no scope {scope!r}.", where="scope", mend=mend)
    token = "bl_" + secrets.token_urlsafe(32)
    made = ApiToken(
        token_sha256=sha256(token),
        name=name,
        user_id=user.id,
        scope=scope,
        created_at=at,
        expires_at=at + timedelta(days=days),
    )
    session.add(made)
    session.flush()  # the record needs its id
    said = f"Made API token {name!r}, valid {days} days, for: {TOKEN_SCOPES[scope]}"
    _record(session, made, user, at=at, did="make", said=said)
    return token


def tokens_of(session: Session, user: User) -> Sequence[ApiToken]:
    """Return a person's tokens, newest first."""
    return queries.api_tokens(session, user.id)


def revoke_api_token(session: Session, user: User, token_id: int, *, at: datetime) -> None:
    """End a token of one's own; one that has ended stays so.

    Raises
    ------
    NotFound
        If this person has no such token.
    """
    found = next((token for token in tokens_of(session, user) if token.id == token_id), None)
    if found is None:
        raise NotFound("You have no such token.", mend="Load the page again.")
    if found.revoked_at is None:
        found.revoked_at = at
        _record(session, found, user, at=at, did="revoke", said=f"Revoked API token {found.name!r}")


def living_token(session: Session, token: str, *, at: datetime) -> ApiToken:
    """Return the token that a program sent, with its user.

    Raises
    ------
    SignInNeeded
        If it is unknown, revoked or out of date.
    """
    found = queries.api_token(session, sha256(token))
    if found is None or found.revoked_at is not None or found.expires_at < at or not found.user.active:
        raise SignInNeeded(
            "This API token is not valid.", mend="Make a new one, or check that it was copied whole."
        )
    return found


def _record(session: Session, token: ApiToken, by: User, *, at: datetime, did: str, said: str) -> None:
    records.write(session, by=by, at=at, did=did, thing="API token", thing_id=token.id, said=said)
