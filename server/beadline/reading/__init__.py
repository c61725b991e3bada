"""Bytes in, arrays out: how a file that a skid wrote becomes a trace."""

from beadline.reading.errors import UnreadableFile
from beadline.reading.profile import ColumnPlan, Profile
from beadline.reading.reader import read
from beadline.reading.trace import Mark, Quantity, Role, Signal, Trace

__all__ = ["ColumnPlan", "Mark", "Profile", "Quantity", "Role", "Signal", "Trace", "UnreadableFile", "read"]
