"""The people of the demo plant."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy.orm import Session

from beadline.demo.plant import Plant
from beadline.features.accounts import queries
from beadline.features.accounts import service as accounts
from beadline.features.accounts.service import passwords
from beadline.store.tables import User

PASSWORD = "mudflat-and-tide"  # the demo's own; it is printed at every start and guards invented data
ENGINEER = "enid"
STAFF = (
    ("vera", "Vera Holm", "viewer"),
    (ENGINEER, "Enid Marsh", "engineer"),
    ("quinn", "Quinn Adeyemi", "quality"),
    ("ada", "Ada Lund", "administrator"),
)


def are_there(session: Session) -> bool:
    """Tell whether the demo's accounts exist already."""
    return queries.anyone(session)


def make(session: Session, plant: Plant, *, at: datetime) -> dict[str, User]:
    """Make an account for each; people sign in with their first name in small letters."""
    operators = [(sign_in_name(name), name, "operator") for name in plant.operators]
    made = {}
    for name, full_name, role in (*STAFF, *operators):
        made[name] = accounts.make_user(
            session, name=name, full_name=full_name, role=role, password=PASSWORD, by=None, at=at
        )
    return made


def known_to_everybody(session: Session) -> list[str]:
    """Return the accounts that the demo's password opens."""
    found = [queries.user_named(session, name) for name, _, _ in STAFF]
    return [user.name for user in found if user and passwords.fits(user.password_hash, PASSWORD)]


def sign_in_name(full_name: str) -> str:
    """Return the name with which somebody of the scenario signs in.

    Examples
    --------
    >>> sign_in_name("Ines Okafor")
    'ines'
    """
    return full_name.split()[0].lower()
