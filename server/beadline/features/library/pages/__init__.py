"""The pages of the library: its shelves, adding to them, and packings."""

from fastapi import APIRouter

from beadline.features.library.pages import adding, packing, planning, shelves

router = APIRouter(include_in_schema=False)
for part in (shelves, adding, planning, packing):
    router.include_router(part.router)
