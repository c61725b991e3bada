"""What a record looks like from outside."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Broken:
    """The first record at which the chain of hashes does not hold."""

    record_id: int
    reason: str
