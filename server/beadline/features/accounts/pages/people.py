"""The page People: who may sign in, as what; administrators change it."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    Viewer,
    WriteSession,
    allowed,
)
from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import ROLES, who_may
from beadline.kit.errors import Refusal

router = APIRouter()
Administrator = Annotated[Person, Depends(allowed("manage people"))]


@router.get("/people")
def people_page(request: Request, session: ReadSession, viewer: Viewer, now: Now) -> Response:
    """Show everybody, and what each role may do."""
    return _page(request, session, viewer, now)


@router.post("/people", dependencies=[OurForm])
def add(request: Request, session: WriteSession, viewer: Administrator, now: Now, posted: Posted) -> Response:
    """Make an account; its temporary password is shown once."""
    given = accounts.temporary_password()
    try:
        with session.begin_nested():
            made = accounts.make_user(
                session,
                name=posted.get("name", ""),
                full_name=posted.get("full_name", ""),
                role=posted.get("role", ""),
                password=given,
                temporary=True,
                by=viewer.user,
                at=now,
            )
    except Refusal as refusal:
        return _page(request, session, viewer, now, refusal=refusal, posted=posted)
    return _page(request, session, viewer, now, fresh=(made.name, given))


@router.post("/people/{user_id}/role", dependencies=[OurForm])
def change_role(
    request: Request, session: WriteSession, viewer: Administrator, now: Now, user_id: int, posted: Posted
) -> Response:
    """Give somebody another role."""
    role, why = posted.get("role", ""), posted.get("reason", "")
    try:
        with session.begin_nested():
            accounts.change_role(session, user_id, role, by=viewer.user, why=why, at=now)
    except Refusal as refusal:
        return _page(request, session, viewer, now, refusal=refusal)
    return RedirectResponse("/people", status_code=303)


@router.post("/people/{user_id}/rest", dependencies=[OurForm])
def rest(
    request: Request, session: WriteSession, viewer: Administrator, now: Now, user_id: int, posted: Posted
) -> Response:
    """Let somebody no longer sign in, or sign in again."""
    again = posted.get("again", "") == "yes"
    try:
        with session.begin_nested():
            accounts.set_active(session, user_id, again, by=viewer.user, why=posted.get("reason", ""), at=now)
    except Refusal as refusal:
        return _page(request, session, viewer, now, refusal=refusal)
    return RedirectResponse("/people", status_code=303)


@router.post("/people/{user_id}/provider-name", dependencies=[OurForm])
def name_at_provider(
    request: Request, session: WriteSession, viewer: Administrator, now: Now, user_id: int, posted: Posted
) -> Response:
    """Say how the identity provider calls somebody."""
    name, why = posted.get("provider_name", ""), posted.get("reason", "")
    try:
        with session.begin_nested():
            accounts.name_at_provider(session, user_id, name, by=viewer.user, why=why, at=now)
    except Refusal as refusal:
        return _page(request, session, viewer, now, refusal=refusal)
    return RedirectResponse("/people", status_code=303)


@router.post("/people/{user_id}/password", dependencies=[OurForm])
def reset_password(
    request: Request, session: WriteSession, viewer: Administrator, now: Now, user_id: int, posted: Posted
) -> Response:
    """Give somebody a temporary password, shown once."""
    why = posted.get("reason", "")
    try:
        with session.begin_nested():
            given = accounts.reset_password(session, user_id, by=viewer.user, why=why, at=now)
            name = accounts.person(session, user_id).name
    except Refusal as refusal:
        return _page(request, session, viewer, now, refusal=refusal)
    return _page(request, session, viewer, now, fresh=(name, given))


def _page(
    request: Request,
    session: Session,
    viewer: Person,
    now: Now,
    *,
    refusal: Refusal | None = None,
    fresh: tuple[str, str] | None = None,
    posted: dict[str, str] | None = None,
) -> Response:
    people = [
        {
            "id": user.id,
            "name": user.name,
            "full_name": user.full_name,
            "role": user.role,
            "active": user.active,
            "since": user.created_at,
            "locked": user.locked_until is not None and user.locked_until > now,
            "temporary": user.password_is_temporary,
            "provider_name": user.provider_name or "",
            "bound": user.provider_subject is not None,
        }
        for user in accounts.everyone(session)
    ]
    context = {
        "people": people,
        "roles": [(role, role) for role in ROLES],
        "all_roles": ROLES,
        "who_may": who_may(),
        "may_change": "manage people" in viewer.deeds,
        "provider": bool(request.app.state.settings.oidc_issuer),
        "fresh": fresh,
        "refusal": refusal,
        "posted": posted or {},
    }
    return templates.render(
        request, "accounts/people.html", context, status=refusal.status if refusal else 200
    )
