"""The description of the interface for programs, with what holds for every address of it."""

from __future__ import annotations

from typing import Any

from fastapi import FastAPI

PROBLEM: dict[str, Any] = {
    "type": "object",
    "title": "Problem",
    "description": "Problem details (RFC 9457): what is wrong, where, and how to mend it.",
    "required": ["type", "title", "status", "code", "where", "mend", "detail", "instance"],
    "properties": {
        "type": {"type": "string", "format": "uri", "description": "urn:beadline:problem: and the code."},
        "title": {"type": "string", "description": "What is wrong, a sentence."},
        "status": {"type": "integer"},
        "code": {"type": "string", "description": "Stable name of the reason."},
        "where": {"type": "string", "description": "Field, line or thing; empty if the title says it all."},
        "mend": {"type": "string", "description": "What to do about it."},
        "detail": {"type": "string"},
        "instance": {"type": "string", "format": "uri", "description": "The request, as the log knows it."},
    },
}
SIGN_IN = {
    "token": {"type": "http", "scheme": "bearer", "description": "A token made on the page under your name."},
    "password": {"type": "http", "scheme": "basic"},
}


def describe(app: FastAPI) -> None:
    """Let the application describe refusals, signing in and entity tags as they are."""
    made = app.openapi

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            _complete(made())
        return made()

    app.openapi = described  # type: ignore[method-assign]  # the way FastAPI documents


def _complete(schema: dict[str, Any]) -> None:
    parts = schema.setdefault("components", {})
    for unused in ("HTTPValidationError", "ValidationError"):
        parts.get("schemas", {}).pop(unused, None)
    parts.setdefault("schemas", {})["Problem"] = PROBLEM
    parts["securitySchemes"] = SIGN_IN
    schema["security"] = [{name: []} for name in SIGN_IN]
    for operations in schema["paths"].values():
        for method, operation in operations.items():
            _complete_operation(method, operation)


def _complete_operation(method: str, operation: dict[str, Any]) -> None:
    answers = operation["responses"]
    answers.pop("422", None)  # FastAPI's own shape, which is not ours
    answers["default"] = {
        "description": "Refused, with the reason",
        "content": {"application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    if method == "get" and "application/json" in answers["200"].get("content", {}):
        answers["200"]["headers"] = {"ETag": {"schema": {"type": "string"}}}
        answers["304"] = {"description": "As the entity tag says that you have it"}
        operation.setdefault("parameters", []).append(
            {
                "name": "If-None-Match",
                "in": "header",
                "required": False,
                "schema": {"type": "string"},
                "description": "Entity tag of the answer that you have.",
            }
        )
