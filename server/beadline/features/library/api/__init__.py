"""Columns, resins, lots and packings, for programs."""

from fastapi import APIRouter

from beadline.features.library.api import packings, shelves

router = APIRouter()
for part in (shelves, packings):
    router.include_router(part.router)
