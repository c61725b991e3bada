"""The pages Campaign review, and which checks the site makes."""

from fastapi import APIRouter

from beadline.features.campaign_reviews.pages import checking, planning, reviewing

router = APIRouter(include_in_schema=False)
for part in (checking, planning, reviewing):
    router.include_router(part.router)
