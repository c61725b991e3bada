"""Signing in through the site's identity provider: there and back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from beadline.boundary import cookies
from beadline.boundary.deps import Now
from beadline.features.accounts import service as accounts
from beadline.features.accounts.pages import signing_in
from beadline.kit.errors import NotFound, Refusal

if TYPE_CHECKING:  # it is loaded where a provider is set, since it would slow every start
    from beadline.boundary.identity_provider import IdentityProvider

router = APIRouter()
PATH = "/sign-in/provider"


@router.get(PATH)
def leave(request: Request, now: Now, then: str = "/") -> Response:
    """Send a browser to the provider."""
    try:
        asked = _provider(request).ask(signing_in.safe_path(then), at=now)
    except Refusal as refusal:
        return signing_in.form(request, then=then, refusal=refusal)
    response = _redirect(asked.address)
    cookies.keep(request, response, cookies.SIGN_ON, asked.cookie, max_age_s=600)
    return response


@router.get(PATH + "/back")
def come_back(request: Request, now: Now) -> Response:
    """Sign in whom the provider vouches for, if somebody made an account for this person."""
    provider = _provider(request)
    try:
        told = provider.told(dict(request.query_params), cookies.read(request, cookies.SIGN_ON), at=now)
        with request.app.state.new_session.begin() as session:
            user = accounts.sign_on(session, issuer=told.issuer, subject=told.subject, name=told.name, at=now)
            made = accounts.start_sign_in(session, user, at=now, through=told.issuer)
        response = signing_in.signed_in(request, user, made, then=told.then)
    except Refusal as refusal:
        response = signing_in.form(request, refusal=refusal)
    cookies.forget(request, response, cookies.SIGN_ON)
    return response


def _redirect(address: str) -> Response:
    return RedirectResponse(address, status_code=303, headers={"Cache-Control": "no-store"})


def _provider(request: Request) -> IdentityProvider:
    provider: IdentityProvider | None = request.app.state.identity_provider
    if provider is None:
        raise NotFound("This site has no sign-on service.", mend="Sign in with name and password.")
    return provider
