"""Reading accounts."""

from __future__ import annotations

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session, joinedload

from beadline.store.tables import ApiToken, SignIn, User


def user_named(session: Session, name: str) -> User | None:
    """Return the user with this name, whatever its letters' case."""
    return session.scalars(select(User).where(func.lower(User.name) == name.strip().lower())).first()


def user_by_id(session: Session, user_id: int) -> User | None:
    """Return a user."""
    return session.get(User, user_id)


def user_by_provider_name(session: Session, name: str) -> User | None:
    """Return whom the identity provider calls by this name."""
    return session.scalars(select(User).where(User.provider_name == name)).first()


def user_of_provider(session: Session, issuer: str, subject: str) -> User | None:
    """Return whose account is bound to this person at the identity provider."""
    query = select(User).where(User.provider_issuer == issuer, User.provider_subject == subject)
    return session.scalars(query).first()


def users(session: Session) -> Sequence[User]:
    """Return everyone, by name."""
    return session.scalars(select(User).order_by(User.name)).all()


def anyone(session: Session) -> bool:
    """Tell whether there is any account yet."""
    return session.scalars(select(User.id).limit(1)).first() is not None


def sign_in(session: Session, token_sha256: str) -> SignIn | None:
    """Return the sign-in with this token's hash, with its user."""
    query = select(SignIn).where(SignIn.token_sha256 == token_sha256).options(joinedload(SignIn.user))
    return session.scalars(query).first()


def api_token(session: Session, token_sha256: str) -> ApiToken | None:
    """Return the token with this hash, with its user."""
    query = select(ApiToken).where(ApiToken.token_sha256 == token_sha256).options(joinedload(ApiToken.user))
    return session.scalars(query).first()


def api_tokens(session: Session, user_id: int) -> Sequence[ApiToken]:
    """Return a person's tokens, newest first."""
    query = select(ApiToken).where(ApiToken.user_id == user_id).order_by(ApiToken.id.desc())
    return session.scalars(query).all()


def living_sign_ins(session: Session, user_id: int) -> Sequence[SignIn]:
    """Return a person's sign-ins that were not ended, the latest used first."""
    query = (
        select(SignIn)
        .where(SignIn.user_id == user_id, SignIn.ended_at.is_(None))
        .order_by(SignIn.seen_at.desc())
    )
    return session.scalars(query).all()


def other_administrators(session: Session, user_id: int) -> bool:
    """Tell whether anybody else who may sign in is an administrator."""
    query = select(User.id).where(User.role == "administrator", User.active.is_(True), User.id != user_id)
    return session.scalars(query.limit(1)).first() is not None
