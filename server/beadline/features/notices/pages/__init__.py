"""The pages Notices and Route, and where the link in a message leads."""

from fastapi import APIRouter

from beadline.features.notices.pages import answering, routes

router = APIRouter(include_in_schema=False)
for part in (routes, answering):
    router.include_router(part.router)
