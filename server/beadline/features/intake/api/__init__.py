"""Runs and earlier results, posted by programs."""

from fastapi import APIRouter

from beadline.features.intake.api import arrays, bulk, correcting, earlier, runs

router = APIRouter()
for part in (runs, arrays, bulk, earlier, correcting):
    router.include_router(part.router)
