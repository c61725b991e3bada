"""The audit trail, and news of it, for programs."""

from fastapi import APIRouter

from beadline.features.records.api import news, trail

router = APIRouter()
for part in (news, trail):
    router.include_router(part.router)
