"""One handler for every error, one shape in JSON, one page for people."""

from __future__ import annotations

import logging
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, RedirectResponse
from sqlalchemy.exc import DataError, IntegrityError, OperationalError
from starlette.exceptions import HTTPException

from beadline.boundary import templates
from beadline.kit.errors import Refusal, SignInNeeded

logger = logging.getLogger("beadline")


def add_to(app: FastAPI) -> None:
    """Register the handlers."""
    app.add_exception_handler(Refusal, _refused)
    app.add_exception_handler(RequestValidationError, _misformed)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(OperationalError, _store_gone)
    app.add_exception_handler(IntegrityError, _in_each_others_way)
    app.add_exception_handler(DataError, _out_of_range)
    app.add_exception_handler(OverflowError, _out_of_range)


def _is_api(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def answer(
    request: Request, *, status: int, code: str, message: str, where: str = "", mend: str = ""
) -> Response:
    """Say what is wrong, as problem details (RFC 9457) to programs and as a page to people."""
    if _is_api(request):
        body: dict[str, Any] = {"type": f"urn:beadline:problem:{code}", "title": message, "status": status}
        body |= {
            "code": code,
            "where": where,
            "mend": mend,
            "detail": " ".join(filter(None, (message, mend))),
        }
        headers = {"WWW-Authenticate": "Bearer, Basic"} if status == 401 else None
        return JSONResponse(body, status_code=status, media_type="application/problem+json", headers=headers)
    context = {"status": status, "message": message, "where": where, "mend": mend}
    return templates.render(request, "refusal.html", context, status=status)


def _refused(request: Request, error: Exception) -> Response:
    assert isinstance(error, Refusal)  # noqa: S101  (this handler is registered for Refusal alone)
    if isinstance(error, SignInNeeded) and not _is_api(request) and request.method == "GET":
        path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(
            request.url_for("sign_in_page").include_query_params(then=path), status_code=303
        )
    return answer(
        request,
        status=error.status,
        code=error.code,
        message=error.message,
        where=error.where,
        mend=error.mend,
    )


def _misformed(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"] if part not in ("body", "query", "path"))
    message = f"The field {where or 'body'} can't be used: {first['msg'].lower()}."
    return answer(
        request, status=422, code="invalid", message=message, where=where, mend="Correct it and send again."
    )


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101
    known = {
        404: ("There is nothing at this address.", "Start again from Columns."),
        405: ("This address does not take that kind of request.", "Use the page's own buttons."),
    }
    message, mend = known.get(error.status_code, (str(error.detail), ""))
    return answer(
        request, status=error.status_code, code=f"http-{error.status_code}", message=message, mend=mend
    )


def _store_gone(request: Request, error: Exception) -> Response:
    logger.error("the database does not answer: %s", error)
    return answer(
        request,
        status=503,
        code="database-unavailable",
        message="The database does not answer, so nothing was stored.",
        mend="Try again in a moment; if it lasts, ask whoever runs this server.",
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
