"""Accounts: made, changed, put to rest."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy.orm import Session

from beadline.features.accounts import queries
from beadline.features.accounts.schemas import ROLES
from beadline.features.accounts.service import passwords, signing_in
from beadline.features.records import service as records
from beadline.kit.errors import Conflict, Invalid, NotFound
from beadline.store.tables import User

ADMINISTRATOR = "administrator"


def make_user(
    session: Session,
    *,
    name: str,
    full_name: str,
    role: str,
    password: str,
    by: User | None,
    at: datetime,
    temporary: bool = False,
) -> User:
    """Make an account; with a temporary password its owner first chooses another.

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
    if len(full_name.strip()) > 120:
        raise Invalid("This full name is too long.", where="full_name", mend="Use at most 120 characters.")
    _check_role(role)
    passwords.check_choice(password, name=name)
    if queries.user_named(session, name):
        raise Conflict(
            f"There is already an account named {name}.", where="name", mend="Choose another name."
        )
    user = User(
        name=name,
        full_name=full_name.strip() or name,
        role=role,
        password_hash=passwords.hashed(password),
        password_is_temporary=temporary,
        created_at=at,
    )
    user.active, user.failed_sign_ins = True, 0
    session.add(user)
    session.flush()  # the record needs its id
    record(session, user, by=by, at=at, did="make", said=f"Made account {name} ({role})")
    return user


def everyone(session: Session) -> Sequence[User]:
    """Return all accounts by name."""
    return queries.users(session)


def change_password(
    session: Session, user: User, *, present: str, chosen: str, at: datetime, kept_token: str
) -> None:
    """Replace one's own password, and sign out every other browser.

    Raises
    ------
    Invalid
        If the present one is wrong, or the chosen one can't be used.
    """
    user = session.merge(user)
    if not passwords.fits(user.password_hash, present):
        raise Invalid(
            "This is not your present password.",
            where="present",
            mend="Type the one that you chose in Beadline.",
        )
    if chosen == present:
        raise Invalid("This is your present password.", where="chosen", mend="Choose another one.")
    passwords.check_choice(chosen, name=user.name, where="chosen")
    user.password_hash, user.password_is_temporary = passwords.hashed(chosen), False
    record(session, user, by=user, at=at, did="change", said=f"{user.name} changed the password")
    signing_in.end_all(session, user, at=at, but_token=kept_token)


def reset_password(session: Session, user_id: int, *, by: User, why: str, at: datetime) -> str:
    """Give somebody a temporary password, returned once; it ends every sign-in and unlocks the account."""
    user = person(session, user_id)
    made = passwords.temporary()
    user.password_hash, user.password_is_temporary = passwords.hashed(made), True
    user.failed_sign_ins, user.locked_until = 0, None
    said = f"Gave {user.name} a temporary password"
    record(session, user, by=by, at=at, did="reset", said=said, why=reason_of(why))
    signing_in.end_all(session, user, at=at)
    return made


def change_role(session: Session, user_id: int, role: str, *, by: User, why: str, at: datetime) -> User:
    """Give an account another role; `why` says on whose word.

    Raises
    ------
    Conflict
        If it is the last administrator.
    """
    user, before = person(session, user_id), person(session, user_id).role
    _check_role(role)
    if role == before:
        raise Conflict(f"{user.name} has this role already.", where="role", mend="Choose another role.")
    _keep_an_administrator(session, user)
    user.role = role
    said = f"Changed the role of {user.name} from {before} to {role}"
    record(
        session,
        user,
        by=by,
        at=at,
        did="change",
        said=said,
        why=reason_of(why),
        before={"role": before},
        after={"role": role},
    )
    return user


def set_active(session: Session, user_id: int, active: bool, *, by: User, why: str, at: datetime) -> User:  # noqa: FBT001
    """Let an account sign in or not; one that is put to rest is signed out at once, and stays on record.

    Raises
    ------
    Conflict
        If it is the last administrator.
    """
    user = person(session, user_id)
    if not active:
        _keep_an_administrator(session, user)
    user.active = active
    said = f"Account {user.name} may {'sign in again' if active else 'no longer sign in'}"
    record(session, user, by=by, at=at, did="change", said=said, why=reason_of(why))
    if not active:
        signing_in.end_all(session, user, at=at)
    return user


def person(session: Session, user_id: int) -> User:
    """Return an account.

    Raises
    ------
    NotFound
        If there is none.
    """
    user = queries.user_by_id(session, user_id)
    if user is None:
        raise NotFound("There is no such account.", mend="Go back to People.")
    return user


def _check_role(role: str) -> None:
    if role not in ROLES:
        raise Invalid(f"There is no role {role!r}.", where="role", mend=f"Choose one of {', '.join(ROLES)}.")


def _keep_an_administrator(session: Session, user: User) -> None:
    if user.role == ADMINISTRATOR and not queries.other_administrators(session, user.id):
        raise Conflict(
            f"{user.name} is the last administrator.", where="role", mend="Make another administrator first."
        )


def reason_of(why: str) -> str:
    """Return the reason, which must be given."""
    if not why.strip():
        raise Invalid("The reason is missing.", where="reason", mend="Say why, or on whose word.")
    return why.strip()


def record(
    session: Session,
    user: User,
    *,
    by: User | None,
    at: datetime,
    did: str,
    said: str,
    why: str = "",
    before: dict[str, str] | None = None,
    after: dict[str, str] | None = None,
) -> None:
    """Write down what was done to an account."""
    records.write(
        session,
        by=by,
        at=at,
        did=did,
        thing="account",
        thing_id=user.id,
        said=said,
        why=why,
        before=before,
        after=after,
    )
