"""The pages of pulse tests: log one, show one."""

from fastapi import APIRouter

from beadline.features.pulse_tests.pages import logging, showing

router = APIRouter(include_in_schema=False)
for part in (logging, showing):
    router.include_router(part.router)
