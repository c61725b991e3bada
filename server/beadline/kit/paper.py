"""Documents on paper: a template and data in, PDF bytes out."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from beadline.kit import places

PAPERS = {"a4": "a4", "letter": "us-letter"}


def pdf(template: str, data: Mapping[str, Any], *, paper: str, at: datetime) -> bytes:
    """Set a document.

    Parameters
    ----------
    template : str
        Its place under web/templates.
    data : mapping
        What it shows, pictures as SVG among it; handed over as JSON and never read as markup, whatever
        people wrote.
    paper : {"a4", "letter"}
        Size of the sheet.
    at : datetime
        When it was set, as the file says.

    Notes
    -----
    Only fonts that travel with the typesetter are used, so that a document looks the same on every machine.
    """
    import typst  # here, since it would slow every start

    templates = places.folder("web") / "templates"
    made: bytes = typst.compile(
        templates / template,
        root=templates,
        format="pdf",
        sys_inputs={"data": json.dumps(data, ensure_ascii=False), "paper": PAPERS[paper]},
        ignore_system_fonts=True,
        timestamp=int(at.timestamp()),
    )
    return made
