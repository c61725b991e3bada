"""Columns, resins, lots, criteria and packings, for programs."""

from fastapi import APIRouter

from beadline.features.library.api import criteria, packings, shelves

router = APIRouter()
for part in (shelves, criteria, packings):
    router.include_router(part.router)
