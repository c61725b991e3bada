"""The time, always with its zone."""

from __future__ import annotations

from datetime import UTC, datetime


def now() -> datetime:
    """Return this moment in UTC."""
    return datetime.now(UTC)
