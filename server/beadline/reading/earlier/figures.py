"""Numbers as people wrote them: decimal points or commas, thousands marked or not, "n/a" for none."""

from __future__ import annotations

import re
from collections.abc import Sequence

from beadline.reading import cells
from beadline.reading.wording import shown

_EITHER = re.compile(r"[1-9]\d{0,2},\d{3}")  # 1,234: a thousand, or 1.234 with a decimal comma


def is_nothing(cell: str) -> bool:
    """Tell whether a cell says that there is no value."""
    return not cell or cells.is_quality(cell) or cells.is_failed(cell)


def comma_of(texts: Sequence[str]) -> str:
    """Return what a comma means in a column's numbers: "decimal", "thousands", or "" where nothing tells.

    Examples
    --------
    >>> comma_of(["0,031", "1,234"]), comma_of(["1,234.5", "1,100"]), comma_of(["1,234"])
    ('decimal', 'thousands', '')
    """
    told = set()
    for text in texts:
        if "," not in text:
            continue
        if cells.is_number(text, ",") and not _EITHER.fullmatch(text):
            told.add("decimal")
        elif cells.is_number(text, ".") and not _EITHER.fullmatch(text):
            told.add("thousands")
    return told.pop() if len(told) == 1 else ""


def figure_of(cell: str, comma: str) -> tuple[float | None, str]:
    """Return the number in a cell, or why it is none that can be read.

    Examples
    --------
    >>> figure_of("0,031", ""), figure_of("3.1e-4", ""), figure_of("1.234,5", "")
    ((0.031, ''), (0.00031, ''), (1234.5, ''))
    >>> figure_of("1,234", "")
    (None, '“1,234” is 1234 or 1.234')
    """
    text = cell.strip().lstrip("~≈").strip()
    if _EITHER.fullmatch(text):
        if comma == "":
            return None, f"{shown(cell)} is {text.replace(',', '')} or {text.replace(',', '.')}"
        return cells.to_float(text, "," if comma == "decimal" else "."), ""
    for decimal in ".,":
        if cells.is_number(text, decimal):
            return cells.to_float(text, decimal), ""
    return None, f"{shown(cell)} is no number"
