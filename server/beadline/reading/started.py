"""When a run started, as far as its file tells without a guess."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta, timezone

import numpy as np

from beadline.reading.trace import Floats, Started
from beadline.reading.wording import shown

_MOST_LINES = 200
_YEARS = range(1990, 2100)
_SPREADSHEET_DAY_0 = datetime(1899, 12, 30)
_MONTHS = {
    "jan": 1, "ene": 1, "gen": 1, "feb": 2, "fev": 2, "fév": 2, "mar": 3, "mär": 3, "mrz": 3, "apr": 4,
    "avr": 4, "abr": 4, "may": 5, "mai": 5, "mag": 5, "jun": 6, "juin": 6, "giu": 6, "jul": 7, "juil": 7,
    "lug": 7, "aug": 8, "aoû": 8, "aou": 8, "ago": 8, "sep": 9, "set": 9, "oct": 10, "okt": 10, "ott": 10,
    "nov": 11, "dec": 12, "dez": 12, "déc": 12, "dic": 12,
}  # fmt: skip
_WORD = r"([A-Za-zäéû]{3,10})\.?"
_YEAR_FIRST = re.compile(r"(?<!\d)(\d{4})([-/.])(\d{1,2})\2(\d{1,2})(?!\d)")
_COMPACT = re.compile(r"(?<!\d)(\d{4})(\d\d)(\d\d)[T ]?(\d\d)(\d\d)(\d\d)?(?!\d)")
_NUMBERS = re.compile(r"(?<![\d.])(\d{1,2})([-/.])(\d{1,2})\2(\d{4}|\d{2})(?!\d)")
_DAY_WORD = re.compile(rf"(?<!\d)(\d{{1,2}})(?:st|nd|rd|th)?[-./ ]+{_WORD}[-/., ]+(\d{{4}})(?!\d)")
_WORD_DAY = re.compile(rf"\b{_WORD}[- ]+(\d{{1,2}})(?:st|nd|rd|th)?,?[- ]+(\d{{4}})(?!\d)")
_CLOCK = re.compile(r"(?<![\d:])(\d{1,2}):(\d\d)(?::(\d\d)(?:[.,]\d+)?)?(?:\s*([AaPp])\.?[Mm]\b\.?)?")
_ZONE = re.compile(r"\s*(?:(Z|UTC|GMT)\b|([+-])(\d\d):?(\d\d)(?!\d))")
_START = re.compile(r"start|beg[ia]n|d[ée]but|inicio|inizio|inject", re.IGNORECASE)
_DATED = re.compile(
    r"\b(?:run|batch|cycle|recorded|acqui|experiment|logged|date|datum|fecha|time|zeit|heure|hora)",
    re.IGNORECASE,
)
_OTHER = re.compile(
    r"export|print|report|creat|modif|calib|expir|manufact|\bdue|\bend|stop|finish|saved|pack|qualif|valid|servic"
    r"|install|version|revis|erstell|gedruckt|ende\b|lot\b|sanit|clean|download|generat|\blast|method|recipe",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True)
class _Found:
    """A date in a text; `clock` is None if it tells the day alone; `unclear` says why it can't be used."""

    day: date | None
    clock: time | None = None
    zone: timezone | None = None
    unclear: str = ""

    def moment(self) -> datetime:
        return datetime.combine(self.day or date.min, self.clock or time(), self.zone)


def from_text(text: str) -> Started | None:
    """Return the moment that a text of a date and a time names without a doubt, or None.

    Examples
    --------
    >>> from_text("20260304050607+0100").moment.isoformat()
    '2026-03-04T05:06:07+01:00'
    """
    found = _in_text(text)
    if found is None or found.day is None:
        return None
    return Started(found.moment(), f"“{text.strip()}”", day_only=found.clock is None)


def from_preamble(above: Iterable[tuple[int, Sequence[str]]]) -> tuple[Started | None, str]:
    """Return when the lines above the numbers say that the run started, or why that is not taken.

    Parameters
    ----------
    above : iterable of (int, sequence of str)
        Line numbers and cells.
    """
    lines = [(number, " ".join(cell for cell in row if cell)) for number, row in list(above)[:_MOST_LINES]]
    ranked = [(rank, number, line, found) for number, line in lines for rank, found in _candidates(line)]
    if not ranked:
        return None, ""
    best = max(rank for rank, *_ in ranked)
    chosen = [(number, line, found) for rank, number, line, found in ranked if rank == best]
    number, line, found = chosen[0]
    if found.unclear:
        return None, f"Line {number} says {shown(line)}: {found.unclear}, so no start is taken from it."
    if len({one.moment() for _, _, one in chosen}) > 1:
        places = " and ".join(f"line {place}" for place, _, _ in chosen[:3])
        return None, f"Different dates stand above the numbers ({places}), so no start is taken from them."
    if found.clock is None:
        found = replace(found, clock=_lone_clock(lines))
    said = f"line {number} says {shown(line)}"
    return Started(found.moment(), said, day_only=found.clock is None), ""


def from_stamp(first: str, seconds: Floats, form: str) -> tuple[Started | None, str]:
    """Return the moment of the first row of a column of dates, or why it is not taken.

    Parameters
    ----------
    first : str
        The first cell as written, which tells whether it has a zone.
    seconds : ndarray
        The whole column since 1970 [s].
    form : str
        How it writes dates, see `clocks.FORMS`.
    """
    known = seconds[np.isfinite(seconds)]
    if not len(known):
        return None, ""
    moment = datetime(1970, 1, 1) + timedelta(seconds=round(float(known[0]), 3))
    numeric = _NUMBERS.match(first.strip())
    days = known.astype("datetime64[s]").astype("datetime64[D]")
    of_month = (days - days.astype("datetime64[M]")).astype(int) + 1
    twins = moment.day != moment.month and moment.day <= 12
    if form != "date, year first" and numeric and numeric[2] != "." and twins and of_month.max() <= 12:
        unclear = "day and month can't be told apart, so no start is taken from it"
        return None, f"The first row is of {shown(first)}: {unclear}."
    clock = _CLOCK.search(first)
    zoned = clock is not None and _ZONE.match(first, clock.end()) is not None
    zoned = zoned or re.search(r"T\d{6}(?:Z|[+-]\d\d)", first) is not None
    return Started(
        moment.replace(tzinfo=UTC) if zoned else moment,
        f"the first row is of {shown(first)}",
        day_only=clock is None,
    ), ""


def from_spreadsheet_days(days: float) -> Started | None:
    """Return the moment that a spreadsheet's count of days names; None if it counts days of a run."""
    if not 30_000 < days < 80_000:
        return None
    return Started(
        _SPREADSHEET_DAY_0 + timedelta(seconds=round(days * 86400)), f"the first row is of day {days:g}"
    )


def from_1970(seconds: float) -> Started | None:
    """Return the moment so many seconds after 1970 began; None if they count from a run's start."""
    if not 1e9 <= seconds < 4e9:
        return None
    moment = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=round(seconds))
    return Started(moment, f"the first row is of {seconds:.0f} s since 1970, which counts in UTC")


def with_clock(day: Started | None, clock_s: float) -> Started | None:
    """Return a day with the time of day at which the first row was taken [s since midnight]."""
    if day is None or not day.day_only or not 0 <= clock_s < 86400:
        return day
    moment = day.moment + timedelta(seconds=round(clock_s))
    return Started(moment, f"{day.source}, and the first row tells the time of day")


def _candidates(line: str) -> list[tuple[int, _Found]]:
    """Return dates of a line that may tell the start, each with a rank."""
    found = _in_text(line)
    if found is None or _OTHER.search(line):
        return []
    if _START.search(line):
        return [(3, found)]
    if _DATED.search(line):
        return [(2, found)]
    return [(1, found)] if found.clock is not None else []


def _lone_clock(lines: Sequence[tuple[int, str]]) -> time | None:
    """Return the time of day that a line of its own gives, if only one does."""
    clocks = {
        clock
        for _, line in lines
        if re.search(r"time|zeit|heure|hora|uhr|start", line, re.IGNORECASE)
        and not _OTHER.search(line)
        and _in_text(line) is None
        and len(_CLOCK.findall(line)) == 1
        and (clock := _clock_in(line, 0)[0]) is not None
    }
    return clocks.pop() if len(clocks) == 1 else None


def _in_text(text: str) -> _Found | None:
    """Return the first date in a text."""
    if (found := _COMPACT.search(text)) and (day := _day(found[1], found[2], found[3])):
        clock = _time(int(found[4]), int(found[5]), int(found[6] or 0))
        return _Found(day, clock, _zone(text, found.end())) if clock else None
    if (found := _YEAR_FIRST.search(text)) and (day := _day(found[1], found[3], found[4])):
        return _Found(day, *_clock_in(text, found.end()))
    for pattern, at_day, at_word in ((_DAY_WORD, 1, 2), (_WORD_DAY, 2, 1)):
        for found in pattern.finditer(text):
            month = _month(found[at_word])
            if month and (day := _day(found[3], month, found[at_day])):
                return _Found(day, *_clock_in(text, found.end()))
    found = _NUMBERS.search(text)
    return _of_numbers(found, text) if found else None


def _of_numbers(found: re.Match[str], text: str) -> _Found | None:
    """Return what 04.03.2026 or 04/13/2026 means: day first with dots; else one number must exceed 12."""
    first, mark, second, year = int(found[1]), found[2], int(found[3]), found[4]
    if len(year) == 2:
        return _Found(None, unclear="a year of two digits can't be told from a day")
    day_first, month_first = _day(year, second, first), _day(year, first, second)
    if mark == ".":
        month_first = None
    if day_first and month_first and day_first != month_first:
        return _Found(None, unclear="day and month can't be told apart")
    day = day_first or month_first
    return _Found(day, *_clock_in(text, found.end())) if day else None


def _day(year: object, month: object, day: object) -> date | None:
    try:
        found = date(int(str(year)), int(str(month)), int(str(day)))
    except ValueError:
        return None
    return found if found.year in _YEARS else None


def _month(word: str) -> int | None:
    return _MONTHS.get(word.lower()[:4]) or _MONTHS.get(word.lower()[:3])


def _clock_in(text: str, start: int) -> tuple[time | None, timezone | None]:
    found = _CLOCK.search(text, start)
    if found is None:
        return None, None
    hour, half = int(found[1]), (found[4] or "").lower()
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    return _time(hour, int(found[2]), int(found[3] or 0)), _zone(text, found.end())


def _time(hour: int, minute: int, second: int) -> time | None:
    try:
        return time(hour, minute, second)
    except ValueError:
        return None


def _zone(text: str, start: int) -> timezone | None:
    found = _ZONE.match(text, start)
    if found is None:
        return None
    if found[1]:
        return UTC
    ahead = timedelta(hours=int(found[3]), minutes=int(found[4]))
    return timezone(-ahead if found[2] == "-" else ahead) if ahead < timedelta(hours=24) else None
