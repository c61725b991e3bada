"""Guides for those who run the server: Markdown of `web/help` as pages, and the files they speak of."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import PlainTextResponse
from markupsafe import Markup

from beadline.boundary import templates
from beadline.boundary.deps import Viewer
from beadline.kit import places
from beadline.kit.errors import NotFound
from beadline.settings import PREFIX, Settings

router = APIRouter(prefix="/help", include_in_schema=False)
ORDER = ("running", "configuration", "upgrading", "capacity", "benchmarks", "analysis")
SETTINGS = "\n[every setting]\n"  # the line of a guide in whose place the table of settings comes


@dataclass(frozen=True, slots=True)
class Guide:
    """One page: its name in the address, its title, what it is for, and its text."""

    name: str
    title: str
    purpose: str
    html: Markup


@router.get("", name="guides")
def index(request: Request, person: Viewer) -> Response:
    """List the guides."""
    return templates.render(request, "help/guides.html", {"guides": every_guide(), "files": _files()})


@router.get("/files/{name}", name="guide_file")
def file(request: Request, name: str, person: Viewer) -> Response:
    """Give a file that a guide speaks of."""
    if name not in _files():
        raise NotFound("There is no such file.", mend="Help lists those that there are.")
    return PlainTextResponse((places.folder("web") / "help" / "files" / name).read_text("utf-8"))


@router.get("/{name}", name="guide")
def guide(request: Request, name: str, person: Viewer) -> Response:
    """Show a guide."""
    found = next((one for one in every_guide() if one.name == name), None)
    if found is None:
        raise NotFound("There is no such guide.", mend="Start again from Help.")
    return templates.render(request, "help/guide.html", {"guide": found})


@cache
def every_guide() -> tuple[Guide, ...]:
    """Read all guides, in the order in which they are listed."""
    return tuple(_read(name) for name in ORDER)


def _files() -> list[str]:
    return sorted(path.name for path in (places.folder("web") / "help" / "files").iterdir())


def _read(name: str) -> Guide:
    import markdown

    text = (places.folder("web") / "help" / f"{name}.md").read_text("utf-8")
    title, purpose, rest = text.split("\n\n", 2)
    rest = rest.replace(SETTINGS, "\n".join(["", *settings_table(), ""]))
    html = markdown.markdown(rest, extensions=["tables", "fenced_code", "toc"])
    return Guide(name, title.removeprefix("# "), purpose, Markup(html))


def settings_table() -> Iterator[str]:
    """Write all settings as a table in Markdown, from the class that reads them."""
    yield "| variable | default | allowed | meaning |"
    yield "|---|---|---|---|"
    for name, one in Settings.model_json_schema()["properties"].items():
        default = one.get("default", "")
        shown = str(default).lower() if isinstance(default, bool) else str(default)
        yield f"| `{PREFIX}{name.upper()}` | {_code(shown)} | {_allowed(one)} | {one['description']} |"


def _allowed(one: dict[str, Any]) -> str:
    """Say which values a setting may have."""
    if "enum" in one:
        return ", ".join(_code(value) for value in one["enum"])
    if "minimum" in one:
        return f"{one['minimum']} to {one['maximum']}" if "maximum" in one else f"{one['minimum']} or more"
    return "`true`, `false`" if one["type"] == "boolean" else "text"


def _code(value: str) -> str:
    return f"`{re.sub(r'([|`])', '', value)}`" if value else "empty"
