"""Signing in, one's own account, and the people of the site."""

from fastapi import APIRouter

from beadline.features.accounts.pages import account, people, provider, signing_in
from beadline.features.accounts.pages.signing_in import identify

router = APIRouter(include_in_schema=False)
for part in (signing_in, provider, account, people):
    router.include_router(part.router)

__all__ = ["identify", "router"]
