"""A signed review of the audit trail, as it is shown."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

MEANING = "reviewed"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordReview:
    """Who reviewed which records, and whether these are still what was signed; empty `broken` if they are."""

    number: int
    first: int
    last: int
    reviewer: str
    role: str
    at: datetime
    note: str
    sha256: str
    broken: str
