"""People and their roles, for programs of administrators."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Depends
from pydantic import BaseModel, ConfigDict, Field

from beadline.boundary.deps import Now, Person, ReadSession, Viewer, WriteSession, allowed
from beadline.boundary.shapes import Why
from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import ROLES, Role, who_may
from beadline.store.tables import User

router = APIRouter(prefix="/api/v1/people", tags=["people"])
Administrator = Annotated[Person, Depends(allowed("manage people"))]


class NewPerson(BaseModel):
    """Somebody who is to sign in."""

    model_config = ConfigDict(extra="forbid")

    name: str = Field(description="By which they sign in.")
    full_name: str
    role: Role


class KnownPerson(NewPerson):
    """Somebody who has an account."""

    id: int
    active: bool
    created_at: datetime
    locked: bool
    temporary_password: bool
    provider_name: str | None = Field(description="How the site's identity provider calls them.")


class Welcome(BaseModel):
    """An account with the temporary password that opens it; it is told once."""

    person: KnownPerson
    password: str


class Deed(BaseModel):
    """What can be done, and who may."""

    deed: str
    roles: list[str]


class OtherRole(Why):
    """Another role, and why."""

    role: Role


class NameAtProvider(Why):
    """How the site's identity provider calls somebody; empty for no sign-on through it."""

    provider_name: str = Field(max_length=200)


class Rest(Why):
    """Whether somebody may sign in, and why."""

    active: bool


@router.get("")
def list_people(session: ReadSession, viewer: Viewer, now: Now) -> list[KnownPerson]:
    """List everybody."""
    return [_told(one, now) for one in accounts.everyone(session)]


@router.get("/deeds")
def deeds(viewer: Viewer) -> list[Deed]:
    """List what each role may do."""
    return [
        Deed(deed=deed, roles=[role for role, may in zip(ROLES, allowed_to, strict=True) if may])
        for deed, allowed_to in who_may()
    ]


@router.post("", status_code=201)
def add(session: WriteSession, keeper: Administrator, now: Now, new: NewPerson) -> Welcome:
    """Make an account; its temporary password is told once and must be changed at the first sign-in."""
    given = accounts.temporary_password()
    made = accounts.make_user(
        session, **new.model_dump(), password=given, temporary=True, by=keeper.user, at=now
    )
    return Welcome(person=_told(made, now), password=given)


@router.post("/{user_id}/role")
def change_role(
    session: WriteSession, keeper: Administrator, now: Now, user_id: int, said: OtherRole
) -> KnownPerson:
    """Give somebody another role."""
    user = accounts.change_role(session, user_id, said.role, by=keeper.user, why=said.reason, at=now)
    return _told(user, now)


@router.post("/{user_id}/rest")
def rest(session: WriteSession, keeper: Administrator, now: Now, user_id: int, said: Rest) -> KnownPerson:
    """Let somebody no longer sign in, or sign in again."""
    user = accounts.set_active(session, user_id, said.active, by=keeper.user, why=said.reason, at=now)
    return _told(user, now)


@router.post("/{user_id}/provider-name")
def name_at_provider(
    session: WriteSession, keeper: Administrator, now: Now, user_id: int, said: NameAtProvider
) -> KnownPerson:
    """Say how the identity provider calls somebody; the next sign-on binds the account anew."""
    by, name = keeper.user, said.provider_name
    accounts.name_at_provider(session, user_id, name, by=by, why=said.reason, at=now)
    return _told(accounts.person(session, user_id), now)


@router.post("/{user_id}/password")
def reset_password(session: WriteSession, keeper: Administrator, now: Now, user_id: int, why: Why) -> Welcome:
    """Give somebody a temporary password, told once."""
    given = accounts.reset_password(session, user_id, by=keeper.user, why=why.reason, at=now)
    return Welcome(person=_told(accounts.person(session, user_id), now), password=given)


def _told(user: User, at: datetime) -> KnownPerson:
    return KnownPerson(
        id=user.id,
        name=user.name,
        full_name=user.full_name,
        role=user.role,  # type: ignore[arg-type]  # the table lets no other in
        active=user.active,
        created_at=user.created_at,
        locked=user.locked_until is not None and user.locked_until > at,
        temporary_password=user.password_is_temporary,
        provider_name=user.provider_name,
    )
