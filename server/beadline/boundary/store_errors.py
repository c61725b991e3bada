"""What the database can't do, in words: it is gone, full, or refuses a row."""

from __future__ import annotations

import logging

from fastapi import FastAPI, Request, Response
from sqlalchemy import exc

from beadline.boundary.errors import answer, disk_full
from beadline.store.engine import is_full

logger = logging.getLogger("beadline")
BACK_WITHIN_S = 10


def add_to(app: FastAPI) -> None:
    """Register the handlers."""
    for gone in (exc.OperationalError, exc.InterfaceError, exc.InternalError, exc.TimeoutError):
        app.add_exception_handler(gone, _store_gone)
    app.add_exception_handler(exc.IntegrityError, _in_each_others_way)
    for beyond in (exc.DataError, OverflowError):
        app.add_exception_handler(beyond, _out_of_range)


def _store_gone(request: Request, error: Exception) -> Response:
    if is_full(error):
        return disk_full(request, error)
    logger.error("the database does not answer: %s", error)
    return answer(
        request,
        status=503,
        code="database-unavailable",
        message="The database does not answer, so nothing was stored.",
        mend="Try again in a moment; if it lasts, ask whoever runs this server.",
        retry_after_s=BACK_WITHIN_S,
    )


def _in_each_others_way(request: Request, error: Exception) -> Response:
    logger.warning("the database refused a row", exc_info=error)
    return answer(
        request,
        status=409,
        code="changed-meanwhile",
        message="This does not go with what the database holds; perhaps somebody changed it just now.",
        mend="Nothing was stored. Load the page again or send it once more.",
    )


def _out_of_range(request: Request, error: Exception) -> Response:
    logger.warning("a value can't be stored or looked up", exc_info=error)
    return answer(
        request,
        status=422,
        code="invalid",
        message="A value in this request is too large, or holds a character that can't be stored.",
        mend="Nothing was changed. Check what was sent.",
    )
