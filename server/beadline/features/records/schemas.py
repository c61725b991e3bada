"""What a record looks like from outside."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Broken:
    """The first record at which the chain of hashes does not hold."""

    record_id: int
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which records are asked for; what is empty chooses all."""

    user_name: str = ""
    thing: str = ""
    since: datetime | None = None
    until: datetime | None = None


@dataclass(frozen=True, slots=True)
class News:
    """Something was recorded that open pages show: what it is about, and the record's sentence."""

    record_id: int
    thing: str
    said: str
