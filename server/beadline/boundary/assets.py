"""Static files under names that hold a hash of their content, so that browsers may keep them for good."""

from __future__ import annotations

import gzip
import hashlib
import mimetypes
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from fastapi import APIRouter, Request, Response

from beadline.kit import places
from beadline.kit.errors import NotFound

PLOTLY = "js/plotly.min.js"
PLOT_RULES = "css/parts/plot.css"
FOREIGN_STYLE = re.compile(rb'getElementById\("([0-9a-f]{64})"\)')
FOR_GOOD = "public, max-age=31536000, immutable"


@dataclass(frozen=True, slots=True)
class Asset:
    """A static file: its bytes and its type."""

    content: bytes
    media_type: str


@dataclass(frozen=True, slots=True)
class Assets:
    """All static files: logical name to address, address to file, and the import map of our modules.

    `foreign_style_id` is the id under which the plotting library looks for the rules of its maps; a page that
    has an element of that id is spared an inline style element, which our policy refuses anyway.
    """

    addresses: Mapping[str, str]
    files: Mapping[str, Asset]
    foreign_style_id: str = ""

    @property
    def import_map(self) -> dict[str, dict[str, str]]:
        """What a browser needs to find `beadline/NAME.js` under its hashed address."""
        modules = {
            "beadline/" + name.removeprefix("js/"): address
            for name, address in self.addresses.items()
            if name.startswith("js/") and name != PLOTLY
        }
        return {"imports": modules}

    @property
    def modules(self) -> list[str]:
        """Addresses of our modules, to be asked for at once instead of one after the other."""
        return list(self.import_map["imports"].values())

    @property
    def stylesheets(self) -> list[str]:
        """Addresses of our style sheets in the order in which they must be read."""
        first = ["css/tokens.css", "css/base.css", "css/layout.css"]
        parts = [
            name for name in sorted(self.addresses) if name.startswith("css/parts/") and name != PLOT_RULES
        ]
        return [self.addresses[name] for name in (*first, *parts, "css/print.css")]


@cache
def load() -> Assets:
    """Read all static files once."""
    root = places.folder("web") / "static"
    paths = {path.relative_to(root).as_posix(): path for path in sorted(root.rglob("*")) if path.is_file()}
    paths[PLOTLY] = _plotly() / "package_data" / "plotly.min.js"
    addresses, files = {}, {}
    for name, path in paths.items():
        content = path.read_bytes()
        stem, dot, ending = name.rpartition(".")
        hashed = f"{stem}.{hashlib.sha256(content).hexdigest()[:12]}{dot}{ending}"
        media_type = "text/javascript" if ending == "js" else mimetypes.guess_type(name)[0]
        addresses[name] = f"/static/{hashed}"
        files[hashed] = Asset(content, media_type or "application/octet-stream")
    foreign = FOREIGN_STYLE.search(paths[PLOTLY].read_bytes())
    return Assets(addresses, files, foreign.group(1).decode() if foreign else "")


@cache
def _zipped(name: str) -> bytes:
    """Compress a file when it is first asked for: the plotting library alone would slow the first page."""
    return gzip.compress(load().files[name].content, 6, mtime=0)


def _plotly() -> Path:
    """Find the plotting library's package without importing it: the import would slow every start."""
    found = find_spec("plotly")
    if found is None or found.origin is None:
        raise FileNotFoundError("The package plotly is missing from this installation of Beadline.")
    return Path(found.origin).parent


router = APIRouter(include_in_schema=False)


@router.get("/static/{name:path}", name="static")
def serve(request: Request, name: str) -> Response:
    """Serve a static file by its hashed name."""
    asset = load().files.get(name)
    if asset is None:
        raise NotFound("There is no such file.", mend="Load the page again.")
    headers = {"Cache-Control": FOR_GOOD, "Vary": "Accept-Encoding"}
    if "gzip" not in request.headers.get("accept-encoding", ""):
        return Response(asset.content, media_type=asset.media_type, headers=headers)
    headers["Content-Encoding"] = "gzip"
    return Response(_zipped(name), media_type=asset.media_type, headers=headers)
