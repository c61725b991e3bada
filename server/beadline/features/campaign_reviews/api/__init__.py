"""Campaign reviews, and which checks the site makes, for programs."""

from fastapi import APIRouter

from beadline.features.campaign_reviews.api import checking, reviewing

router = APIRouter()
for part in (checking, reviewing):
    router.include_router(part.router)
