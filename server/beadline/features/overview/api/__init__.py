"""Beds and their cycles, for programs."""

from fastapi import APIRouter

from beadline.features.overview.api import exports, reading

router = APIRouter()
for part in (reading, exports):
    router.include_router(part.router)
