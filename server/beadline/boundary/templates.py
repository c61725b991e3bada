"""Pages from templates: everything is escaped, a missing value is an error."""

from __future__ import annotations

import gzip
import json
from collections.abc import Hashable, Mapping
from functools import cache, lru_cache
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from beadline.boundary import assets, bead_string, form_token
from beadline.kit import places, words

THEME_COOKIE = "beadline_theme"
WORTH_ZIPPING = 4096  # bytes
REMEMBERED = 4096  # parts of pages
THEMES = ("light", "dark")


@cache
def environment() -> Environment:
    """Return the one environment of all templates."""
    made = Environment(
        loader=FileSystemLoader(places.folder("web") / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(words.FILTERS)
    made.globals["asset"] = lambda name: assets.load().addresses[name]
    made.globals["json_data"] = json_data
    made.globals["draw_beads"] = bead_string.draw
    made.globals["remembered"] = remembered
    return made


@lru_cache(maxsize=REMEMBERED)
def remembered(name: str, macro: str, *values: Hashable) -> Markup:
    """Call a macro that rests on these values alone; a long page is mostly what it was at the last look."""
    written: Markup = getattr(environment().get_template(name).module, macro)(*values)
    return written


def json_data(value: Any) -> Markup:
    """Write data for a script, safe inside a script element of type application/json."""
    text = json.dumps(value, ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def render(request: Request, name: str, context: Mapping[str, Any], *, status: int = 200) -> Response:
    """Render a page for the person who asks."""
    person = getattr(request.state, "person", None)
    settings = request.app.state.settings
    visit = getattr(request.state, "visit_token", "")
    shared = {
        "request": request,
        "path": request.url.path,
        "user": person.user if person else None,
        "deeds": person.deeds if person else frozenset(),
        "csrf_token": form_token.masked((person.csrf_token if person else None) or visit),
        "nonce": request.state.nonce,
        "import_map": assets.load().import_map,
        "modules": assets.load().modules,
        "foreign_style_id": assets.load().foreign_style_id,
        "stylesheets": assets.load().stylesheets,
        "theme": request.cookies.get(THEME_COOKIE) if request.cookies.get(THEME_COOKIE) in THEMES else "",
        "demo": settings.demo,
        "zone": settings.zone,
        "open_alerts": getattr(request.state, "open_alerts", 0),
    }
    page = environment().get_template(name).render(shared | dict(context)).encode()
    headers = {"Cache-Control": "no-store", "Vary": "Accept-Encoding"}
    if len(page) > WORTH_ZIPPING and "gzip" in request.headers.get("accept-encoding", ""):
        page = gzip.compress(page, 5, mtime=0)
        headers["Content-Encoding"] = "gzip"
    return HTMLResponse(page, status_code=status, headers=headers)
