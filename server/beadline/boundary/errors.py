"""One handler for every error, one shape in JSON, one page for people."""

from __future__ import annotations

import logging
from typing import Any

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, PlainTextResponse, RedirectResponse
from starlette.exceptions import HTTPException

from beadline.boundary import templates
from beadline.kit.errors import Refusal, SignInNeeded

logger = logging.getLogger("beadline")


def add_to(app: FastAPI) -> None:
    """Register the handlers."""
    app.add_exception_handler(Refusal, _refused)
    app.add_exception_handler(RequestValidationError, _misformed)
    app.add_exception_handler(HTTPException, _http)


def _is_api(request: Request) -> bool:
    return request.url.path.startswith("/api/")


def answer(
    request: Request,
    *,
    status: int,
    code: str,
    message: str,
    where: str = "",
    mend: str = "",
    retry_after_s: int = 0,
) -> Response:
    """Say what is wrong, as problem details (RFC 9457) to programs and as a page to people."""
    request_id = getattr(request.state, "request_id", "")
    headers = {"Retry-After": str(retry_after_s)} if retry_after_s else {}
    if _is_api(request):
        body: dict[str, Any] = {"type": f"urn:beadline:problem:{code}", "title": message, "status": status}
        body |= {
            "code": code,
            "where": where,
            "mend": mend,
            "detail": " ".join(filter(None, (message, mend))),
            "instance": f"urn:beadline:request:{request_id}",
        }
        headers |= {"WWW-Authenticate": "Bearer, Basic"} if status == 401 else {}
        return JSONResponse(body, status_code=status, media_type="application/problem+json", headers=headers)
    context = {"status": status, "message": message, "where": where, "mend": mend, "request_id": request_id}
    page = templates.render(request, "refusal.html", context, status=status)
    page.headers.update(headers)
    return page


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
        retry_after_s=error.retry_after_s,
    )


def _misformed(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)  # noqa: S101
    first = error.errors()[0]
    if first["loc"][0] == "path":
        return _nothing_here(request)
    where = ".".join(str(part) for part in first["loc"] if part not in ("body", "query"))
    message = _in_plain_words(first, where or "body")
    return answer(
        request, status=422, code="invalid", message=message, where=where, mend="Correct it and send again."
    )


def _in_plain_words(error: dict[str, Any], field: str) -> str:
    """Say what is wrong with a field, in words for people who never heard of a parser."""
    kind, given = str(error["type"]), error.get("input")
    if kind == "missing":
        return f"The field {field} is missing."
    if kind == "json_invalid":
        return "What was sent is not valid JSON."
    nouns = {
        "int": "a whole number",
        "float": "a number",
        "decimal": "a number",
        "bool": "true or false",
        "date": "a date such as 2031-03-12",
        "datetime": "a time such as 2031-03-12T14:05",
        "string": "text",
        "list": "a list",
        "dict": "an object with fields",
        "model": "an object with fields",
        "uuid": "an identifier",
    }
    limits = {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}
    noun = nouns.get(kind.split("_")[0])
    if noun and kind not in limits and not kind.endswith(("_too_short", "_too_long", "_mismatch")):
        shown = f"“{given[:40]}”" if isinstance(given, str) else "what was sent"
        return f"The field {field} must be {noun}, and {shown} is not."
    said = str(error["msg"]).removeprefix("Value error, ").removeprefix("Input ")
    return (
        f"The field {field} can't be used: it {said}."
        if said.startswith("should")
        else (f"The field {field} can't be used: {said}.")
    )


def _nothing_here(request: Request) -> Response:
    message, mend = "There is nothing at this address.", "Start again from Columns."
    return answer(request, status=404, code="http-404", message=message, mend=mend)


def failed(request: Request, error: Exception) -> Response:
    """Answer for a mistake of ours; the log holds its traceback under the same request id."""
    reference, route = request.state.request_id, getattr(request.scope.get("route"), "path", "none")
    logger.error("request %s failed: %s %s", reference, request.method, route, exc_info=error)
    message = "Something went wrong on the server, and nothing was stored by this request."
    mend = f"Try once more; if it stays, give whoever runs this server the reference {reference}."
    try:
        return answer(request, status=500, code="unexpected", message=message, mend=mend)
    except Exception:
        logger.exception("request %s: the page that should say so failed as well", reference)
        return PlainTextResponse(f"{message} {mend}", status_code=500)


def disk_full(request: Request, error: Exception) -> Response:
    """Answer when there is no room left to store anything."""
    logger.error("no room is left on a disk: %s", error.__cause__ or error)
    return answer(
        request,
        status=507,
        code="disk-full",
        message="The server's disk is full, so nothing was stored.",
        mend="Tell whoever runs this server to make room where the database and temporary files lie; "
        "then send it again. Nothing else needs to be done.",
        retry_after_s=60,
    )


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)  # noqa: S101
    if error.status_code == 404:
        return _nothing_here(request)
    if isinstance(error.__cause__, OSError):  # a body that could not be laid aside while it came
        return disk_full(request, error)
    by = "Its methods stand in /api/v1/openapi.json." if _is_api(request) else "Use the page's own buttons."
    known = {405: ("This address does not take that kind of request.", by)}
    message, mend = known.get(error.status_code, (str(error.detail), ""))
    return answer(
        request, status=error.status_code, code=f"http-{error.status_code}", message=message, mend=mend
    )
