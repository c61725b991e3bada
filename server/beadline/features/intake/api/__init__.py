"""Runs and earlier results, posted by programs."""

from fastapi import APIRouter

from beadline.features.intake.api import bulk, earlier, runs

router = APIRouter()
for part in (runs, bulk, earlier):
    router.include_router(part.router)
