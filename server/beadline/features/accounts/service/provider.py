"""Accounts that are opened through the site's identity provider.

An administrator makes each account and says how the provider calls its owner; nobody makes an account by
signing on. The first sign-on under that name binds the account to issuer and subject, which the provider
never gives to somebody else; from then on these alone open it, whatever the person is called.
"""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.accounts import queries
from beadline.features.accounts.service.people import person, reason_of, record
from beadline.kit.errors import Conflict, Forbidden, Invalid
from beadline.store.tables import User

LONGEST_NAME = 200
LONGEST_SUBJECT = 255  # OpenID Connect Core 1.0, section 2, of `sub`
ASK = "Ask an administrator, who can enter on the page People how the provider calls you."


def name_at_provider(session: Session, user_id: int, name: str, *, by: User, why: str, at: datetime) -> User:
    """Say how the provider calls the owner of an account; without a name it is opened by password alone.

    Whoever was bound to the account is let go, so that the next one of this name is bound.

    Raises
    ------
    Conflict
        If another account has this name.
    """
    user, name = person(session, user_id), name.strip()
    if len(name) > LONGEST_NAME:
        raise Invalid(
            "This name is too long.", where="provider_name", mend=f"Use up to {LONGEST_NAME} characters."
        )
    taken = queries.user_by_provider_name(session, name) if name else None
    if taken is not None and taken.id != user.id:
        said = f"{taken.name} signs on under this name already."
        raise Conflict(
            said, where="provider_name", mend="Check the name, or take it from the other account first."
        )
    before = {"name at provider": user.provider_name or "", "subject": user.provider_subject or ""}
    user.provider_name, user.provider_issuer, user.provider_subject = name or None, None, None
    said = f"{user.name} may sign on as {name}" if name else f"{user.name} may no longer sign on"
    after = {"name at provider": name, "subject": ""}
    record(
        session, user, by=by, at=at, did="change", said=said, why=reason_of(why), before=before, after=after
    )
    return user


def sign_on(session: Session, *, issuer: str, subject: str, name: str, at: datetime) -> User:
    """Return whose account the provider's word opens, and bind it if it is the first time.

    Raises
    ------
    Forbidden
        If nobody made an account for this person, it is bound to somebody else, or may not sign in.
    """
    user = queries.user_of_provider(session, issuer, subject)
    if user is None:
        user = _bound(session, issuer=issuer, subject=subject, name=name, at=at)
    if not user.active:
        said = f"The account {user.name} may no longer sign in."
        raise Forbidden(said, mend="Ask an administrator.", code="account-at-rest")
    return user


def _bound(session: Session, *, issuer: str, subject: str, name: str, at: datetime) -> User:
    user = queries.user_by_provider_name(session, name) if name else None
    if user is None or not user.active:
        who = f"{name} is" if name else "You are"
        raise Forbidden(f"{who} not known here.", mend=ASK, code="no-account")
    if user.provider_subject is not None:
        said = f"The account of {name} belongs to somebody else of this name at the provider."
        raise Forbidden(said, mend=ASK, code="bound-to-another")
    if not subject or len(subject) > LONGEST_SUBJECT:
        raise Invalid(
            "The provider's mark of this person can't be kept.", mend="Ask those who run the provider."
        )
    user.provider_issuer, user.provider_subject = issuer, subject
    said = f"Bound account {user.name} to {name} at {issuer}"
    record(session, user, by=user, at=at, did="bind", said=said, after={"issuer": issuer, "subject": subject})
    return user
