"""The page of one's own account: password, tokens, other browsers."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import cookies, templates
from beadline.boundary.deps import (
    Now,
    OurForm,
    Person,
    Posted,
    ReadSession,
    Session,
    Viewer,
    WriteSession,
)
from beadline.features.accounts import service as accounts
from beadline.features.accounts.schemas import ROLES, TOKEN_SCOPES, who_may
from beadline.kit import forms
from beadline.kit.errors import Refusal

router = APIRouter()
USUAL_DAYS = 365


@router.get("/account")
def account_page(request: Request, session: ReadSession, viewer: Viewer, now: Now) -> Response:
    """Show who one is here and what proves it."""
    return _page(request, session, viewer, now)


@router.post("/account/password", dependencies=[OurForm])
def change_password(
    request: Request, session: WriteSession, viewer: Viewer, now: Now, posted: Posted
) -> Response:
    """Replace one's own password; other browsers are signed out."""
    try:
        with session.begin_nested():
            accounts.change_password(
                session,
                viewer.user,
                present=posted.get("present", ""),
                chosen=posted.get("chosen", ""),
                at=now,
                kept_token=cookies.read(request, cookies.SIGN_IN),
            )
    except Refusal as refusal:
        return _page(request, session, viewer, now, refusal=refusal)
    return RedirectResponse("/account?done=password", status_code=303)


@router.post("/account/tokens", dependencies=[OurForm])
def make_token(request: Request, session: WriteSession, viewer: Viewer, now: Now, posted: Posted) -> Response:
    """Make a token and show it, once."""
    try:
        with session.begin_nested():
            made = accounts.make_api_token(
                session,
                viewer.user,
                name=posted.get("name", ""),
                days=forms.whole(posted.get("days", ""), where="days") or USUAL_DAYS,
                scope=posted.get("scope", ""),
                at=now,
            )
    except Refusal as refusal:
        return _page(request, session, viewer, now, refusal=refusal)
    return _page(request, session, viewer, now, fresh_token=made)


@router.post("/account/tokens/{token_id}/revoke", dependencies=[OurForm])
def revoke_token(session: WriteSession, viewer: Viewer, now: Now, token_id: int) -> Response:
    """End a token."""
    accounts.revoke_api_token(session, viewer.user, token_id, at=now)
    return RedirectResponse("/account#tokens", status_code=303)


@router.post("/account/sign-out-elsewhere", dependencies=[OurForm])
def sign_out_elsewhere(request: Request, session: WriteSession, viewer: Viewer, now: Now) -> Response:
    """Sign out every browser but this one."""
    accounts.end_all(session, viewer.user, at=now, but_token=cookies.read(request, cookies.SIGN_IN))
    return RedirectResponse("/account?done=elsewhere", status_code=303)


def _page(
    request: Request,
    session: Session,
    viewer: Person,
    now: Now,
    *,
    refusal: Refusal | None = None,
    fresh_token: str = "",
) -> Response:
    idle = timedelta(minutes=request.app.state.settings.session_minutes)
    tokens: list[dict[str, Any]] = [
        {
            "id": token.id,
            "name": token.name,
            "scope": TOKEN_SCOPES[token.scope],
            "made": token.created_at,
            "ends": token.expires_at,
            "state": "revoked" if token.revoked_at else "out of date" if token.expires_at < now else "valid",
        }
        for token in accounts.tokens_of(session, viewer.user)
    ]
    context = {
        "all_roles": ROLES,
        "who_may": who_may(),
        "tokens": tokens,
        "scopes": list(TOKEN_SCOPES.items()),
        "usual_days": USUAL_DAYS,
        "shortest": accounts.SHORTEST_PASSWORD,
        "temporary": viewer.user.password_is_temporary,
        "done": request.query_params.get("done", ""),
        "fresh_token": fresh_token,
        "browsers": [
            {"since": one.started_at, "seen": one.seen_at, "this": one.csrf_token == viewer.csrf_token}
            for one in accounts.living_sign_ins(session, viewer.user, at=now, idle=idle)
        ],
        "refusal": refusal,
    }
    return templates.render(
        request, "accounts/account.html", context, status=refusal.status if refusal else 200
    )
