"""What is due as iCalendar (RFC 5545), for calendar programs that ask now and then."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from urllib.parse import urlsplit

from icalendar import Alarm, Calendar, Event

from beadline.features.calendar.schemas import WHAT_WORDS, Due

TELL_BEFORE = timedelta(days=7)
ASK_AGAIN = timedelta(hours=6)
CAUTION = "Decision support only: site procedures and qualified people decide."


def feed(found: Sequence[Due], *, address: str, demo: bool, at: datetime) -> bytes:
    """Return the calendar; an entry lasts a day and keeps nobody busy."""
    calendar = Calendar()
    calendar.add("prodid", "-//Beadline//What is due//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", "Beadline: what is due" + (" (demo, invented data)" if demo else ""))
    calendar.add("refresh-interval", ASK_AGAIN, parameters={"value": "DURATION"})
    for one in found:
        calendar.add_component(_entry(one, address=address, demo=demo, at=at))
    written: bytes = calendar.to_ical()
    return written


def _entry(one: Due, *, address: str, demo: bool, at: datetime) -> Event:
    summary = f"{'Demo: ' if demo else ''}{WHAT_WORDS[one.what]}: {one.bed}"
    entry = Event()
    entry.add("uid", f"{one.key}@{urlsplit(address).hostname or 'beadline'}")
    entry.add("dtstamp", at)
    entry.add("dtstart", one.on)
    entry.add("dtend", one.on + timedelta(days=1))
    entry.add("summary", summary)
    entry.add("description", f"{one.reason} {CAUTION}")
    entry.add("url", f"{address}{one.href}")
    entry.add("categories", [WHAT_WORDS[one.what]])
    entry.add("transp", "TRANSPARENT")
    told = Alarm()
    told.add("action", "DISPLAY")
    told.add("description", summary)
    told.add("trigger", -TELL_BEFORE)
    entry.add_component(told)
    return entry
