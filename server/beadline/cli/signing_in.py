"""Who gives a command that works on the database itself, and whether their role allows it."""

from __future__ import annotations

import getpass
import os
from datetime import datetime

from sqlalchemy.orm import Session, sessionmaker

from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import deeds_of, within
from beadline.kit.errors import Forbidden, SignInNeeded
from beadline.store.tables import User


def who_may(deed: str, new_session: sessionmaker[Session], *, user: str, at: datetime) -> User:
    """Return who gives a command: by BEADLINE_TOKEN, or by name and password.

    Raises
    ------
    SignInNeeded
        If token, or name and password, do not fit.
    Forbidden
        If the role, or the token, does not allow it.
    """
    token = os.environ.get("BEADLINE_TOKEN")
    if token and not user:
        with new_session.begin() as session:
            found = accounts.living_token(session, token, at=at)
            person, deeds = found.user, within(deeds_of(found.user.role), found.scope)
    else:
        person = _by_password(new_session, user or input("Sign in as: "), at)
        deeds = deeds_of(person.role)
    if deed not in deeds:
        said = f"The role of {person.name} ({person.role}), or the token, does not allow to {deed}."
        raise Forbidden(said, mend="The Library lists who may do what.")
    return person


def _by_password(new_session: sessionmaker[Session], name: str, at: datetime) -> User:
    password = os.environ.get("BEADLINE_PASSWORD") or getpass.getpass(f"Password of {name}: ")
    with new_session.begin() as session:  # a failure is counted whatever comes after
        person = accounts.check_password(session, name=name, password=password, at=at)
    if person is None:
        raise SignInNeeded("Name and password do not fit.", mend="Check both.")
    if person.password_is_temporary:
        raise Forbidden(
            "This password is a temporary one.", mend="Choose one of your own on the page Account."
        )
    return person
