"""The calendar: what is due of every bed in use, and the same as iCalendar."""

from beadline.features.calendar.service.due import due
from beadline.features.calendar.service.feed import feed

__all__ = ["due", "feed"]
