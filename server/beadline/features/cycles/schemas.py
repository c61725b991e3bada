"""What somebody says of a run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

CameBy = Literal["page", "api", "demo"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunFacts:
    """What the person or program that logs a run knows of it; what is None is filled in."""

    batch: str = ""
    started_at: datetime | None = None
    number: int | None = None
    note: str = ""
