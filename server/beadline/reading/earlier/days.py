"""Dates as people wrote them over the years; what can be read two ways is asked, never guessed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from beadline.reading import started
from beadline.reading.wording import shown

_NUMBERS = re.compile(r"(\d{1,2})([-/. ])(\d{1,2})\2(\d{4}|\d{2})(?!\d)(.*)", re.DOTALL)
_SHORT_YEAR = re.compile(r"(\d{1,2})([-. /])([A-Za-zäéû]{3,10})\.?\2'?(\d{2})(?!\d)(.*)", re.DOTALL)
_CLOCK = re.compile(
    r"\s*(?:T|,)?\s*(\d{1,2}):(\d\d)(?::(\d\d)(?:\.\d+)?)?\s*(?:([ap])\.?m\.?)?\s*", re.IGNORECASE
)
_SERIAL = re.compile(r"\d{5}(?:\.\d+)?")
_SERIALS = (29_000.0, 60_000.0)  # days of spreadsheets of the years 1979 to 2064
_DAY_0 = datetime(1899, 12, 30)
_CENTURY = 69  # POSIX: 69 to 99 are of the 1900s, 00 to 68 of the 2000s


@dataclass(frozen=True, slots=True)
class Day:
    """A date as read.

    Attributes
    ----------
    moment : datetime or None
        Without a zone, unless the cell has one; None where it can't be read.
    day_only : bool
    why_not, mend : str
        Why it can't be read; empty otherwise.
    """

    moment: datetime | None
    day_only: bool = False
    why_not: str = ""
    mend: str = ""


def order_of(texts: Sequence[str]) -> tuple[str, str]:
    """Return whether a column's dates have the day or the month first, and by what that is told.

    Empty where nothing needs it or nothing tells it; dates with dots have the day first (common practice).

    Examples
    --------
    >>> order_of(["03/04/2019", "17/04/2019"])
    ('day first', '“17/04/2019” can only have the day first')
    >>> order_of(["03/04/2019", "05/04/2019"])
    ('', '')
    """
    told: dict[str, str] = {}
    for text in texts:
        found = _NUMBERS.match(text)
        if found is None or found[2] == ".":
            continue
        first, second = int(found[1]), int(found[3])
        if first > 12 >= second:
            told.setdefault("day first", text)
        elif second > 12 >= first:
            told.setdefault("month first", text)
    if len(told) != 1:
        return "", ""
    order, text = next(iter(told.items()))
    return order, f"{shown(text)} can only have the {order.split()[0]} first"


def day_of(text: str, order: str) -> Day:
    """Read a date, with or without a time of day.

    Examples
    --------
    >>> day_of("4.3.2019", "").moment.isoformat()
    '2019-03-04T00:00:00'
    >>> day_of("03/04/2019 14:05", "month first").moment.isoformat()
    '2019-03-04T14:05:00'
    >>> day_of("03/04/2019", "").why_not
    '“03/04/2019” is the 3rd of April or the 4th of March'
    """
    if _SERIAL.fullmatch(text) and _SERIALS[0] < float(text) < _SERIALS[1]:
        moment = _DAY_0 + timedelta(seconds=round(float(text) * 86400))
        return Day(moment, moment.time() == time())
    if found := _NUMBERS.fullmatch(text):
        return _of_numbers(text, found, order)
    if found := _SHORT_YEAR.fullmatch(text):
        text = f"{found[1]} {found[3]} {_year(found[4])}{found[5]}"
    known = started.from_text(text)
    if known is None:
        return Day(
            None, why_not=f"{shown(text)} is no date that can be read", mend="Write it like 2019-03-04."
        )
    return Day(known.moment, known.day_only)


def with_clock(day: Day, text: str) -> Day:
    """Return a day with the time of day of another cell, if that tells one."""
    clock = _clock(text)
    if day.moment is None or clock is None or not day.day_only:
        return day
    return Day(datetime.combine(day.moment.date(), clock, day.moment.tzinfo))


def _of_numbers(text: str, found: re.Match[str], order: str) -> Day:
    first, mark, second, year = int(found[1]), found[2], int(found[3]), _year(found[4])
    day_first, month_first = _date(year, second, first), _date(year, first, second)
    if mark == "." or order == "day first":
        month_first = None
    elif order == "month first":
        day_first = None
    if day_first and month_first and day_first != month_first:
        return Day(
            None,
            why_not=f"{shown(text)} is the {_said(day_first)} or the {_said(month_first)}",
            mend="Say whether the day or the month comes first.",
        )
    day = day_first or month_first
    if day is None:
        return Day(None, why_not=f"{shown(text)} is no day of a calendar", mend="Write it like 2019-03-04.")
    clock = _clock(found[5])
    return Day(datetime.combine(day, clock or time()), clock is None)


def _said(day: date) -> str:
    ending = "th" if 10 < day.day < 14 else {1: "st", 2: "nd", 3: "rd"}.get(day.day % 10, "th")
    return f"{day.day}{ending} of {day:%B}"


def _year(text: str) -> int:
    return int(text) + (0 if len(text) == 4 else 1900 if int(text) >= _CENTURY else 2000)


def _date(year: int, month: int, day: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _clock(text: str) -> time | None:
    found = _CLOCK.fullmatch(text)
    if found is None:
        return None
    hour, half = int(found[1]), (found[4] or "").lower()
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        return time(hour, int(found[2]), int(found[3] or 0))
    except ValueError:
        return None
