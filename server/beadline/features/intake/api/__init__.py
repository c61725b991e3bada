"""Runs and earlier results, posted by programs."""

from fastapi import APIRouter

from beadline.features.intake.api import arrays, baseline, bulk, correcting, earlier, runs

router = APIRouter()
for part in (runs, arrays, bulk, earlier, correcting, baseline):
    router.include_router(part.router)
