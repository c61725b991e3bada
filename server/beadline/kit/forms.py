"""What people write into forms, as values; what can't be meant is refused with its field."""

from __future__ import annotations

import math
from datetime import datetime
from zoneinfo import ZoneInfo

from beadline.kit.errors import Invalid

LARGEST_WHOLE = 10**9
YEARS = range(1900, 2200)


def number(text: str, *, where: str) -> float | None:
    """Read a number written with a point or a comma; None if nothing was written.

    Raises
    ------
    Invalid
        If it is not a number, or not a finite one.

    Examples
    --------
    >>> number(" 20,5 ", where="bed_height_cm"), number("", where="x")
    (20.5, None)
    """
    text = text.strip().replace("\u00a0", "").replace(" ", "")
    if not text:
        return None
    try:
        value = float(text.replace(",", ".") if text.count(",") <= 1 and "." not in text else text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise Invalid(f"“{text}” is not a number.", where=where, mend="Write it like 20.5 or 20,5.")
    return value


def whole(text: str, *, where: str) -> int | None:
    """Read a whole number; None if nothing was written.

    Raises
    ------
    Invalid
        If it is not a whole number, or one that can't be meant.
    """
    value = number(text, where=where)
    if value is None:
        return None
    if value != int(value) or abs(value) > LARGEST_WHOLE:
        mend = "Count in whole numbers, up to 10⁹."
        raise Invalid(f"“{text}” is not a whole number.", where=where, mend=mend)
    return int(value)


def moment(text: str, zone: ZoneInfo, *, where: str) -> datetime | None:
    """Read a time written in the site's zone, or with a zone of its own; None if nothing was written.

    Raises
    ------
    Invalid
        If it is not a time, or of a year that can't be meant.

    Examples
    --------
    >>> moment("2031-03-12T14:05", ZoneInfo("UTC"), where="started_at").isoformat()
    '2031-03-12T14:05:00+00:00'
    """
    if not text.strip():
        return None
    try:
        value = datetime.fromisoformat(text.strip())
    except ValueError:
        value = datetime.min
    if value.year not in YEARS:
        raise Invalid(f"“{text}” is not a time.", where=where, mend="Write it like 2031-03-12T14:05.")
    return value.replace(tzinfo=zone) if value.tzinfo is None else value
