"""Runs and earlier results, posted by programs."""

from fastapi import APIRouter

from beadline.features.intake.api import earlier, runs

router = APIRouter()
for part in (runs, earlier):
    router.include_router(part.router)
