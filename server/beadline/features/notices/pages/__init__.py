"""The pages Notices and Route."""

from fastapi import APIRouter

from beadline.features.notices.pages import routes

router = APIRouter(include_in_schema=False)
router.include_router(routes.router)
