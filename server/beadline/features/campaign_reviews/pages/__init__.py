"""The pages Campaign review, and which checks the site makes."""

from fastapi import APIRouter

from beadline.features.campaign_reviews.pages import checking, reviewing

router = APIRouter(include_in_schema=False)
for part in (checking, reviewing):
    router.include_router(part.router)
