"""The pages of intake: logging runs, and the baselines that judge them."""

from fastapi import APIRouter

from beadline.features.intake.pages import baseline, earlier, runs

router = APIRouter(include_in_schema=False)
for part in (runs, earlier, baseline):
    router.include_router(part.router)
