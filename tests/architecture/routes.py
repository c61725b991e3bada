"""All routes of the application, with what each depends on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute

from beadline import app
from beadline.boundary import deps
from beadline.settings import Settings

CHECK = deps.allowed("look").__qualname__


@dataclass(frozen=True, slots=True)
class Way:
    """One method of one route."""

    method: str
    path: str
    deeds: frozenset[str]
    checks_form: bool

    def __str__(self) -> str:
        return f"{self.method} {self.path}"


def every_way() -> list[Way]:
    """Every method of every route that a part of ours adds."""
    built = app.build(Settings(database_url="sqlite://"))
    routes = sorted(_flat(built.routes), key=lambda route: route.path)
    return [
        Way(
            method,
            route.path,
            frozenset(_deeds(route.dependant)),
            deps.form_is_ours in _calls(route.dependant),
        )
        for route in routes
        for method in sorted(route.methods)
    ]


def _flat(routes: Iterable[Any]) -> Iterator[APIRoute]:
    """Routes, those of routers included; some versions of the framework keep routers as they were given."""
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            yield from _flat(inner.routes)
        elif isinstance(route, APIRoute):
            yield route


def _calls(dependant: Dependant) -> Iterator[Any]:
    for inner in dependant.dependencies:
        yield inner.call
        yield from _calls(inner)


def _deeds(dependant: Dependant) -> Iterator[str]:
    """What a person must be allowed to do: the word that `allowed` closed over."""
    for call in _calls(dependant):
        if getattr(call, "__qualname__", "") == CHECK:
            yield next(cell.cell_contents for cell in call.__closure__)
