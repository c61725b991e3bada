"""Why a message did not get through."""

from __future__ import annotations


class NotDelivered(Exception):
    """The other end did not take a message; people read why, so it holds no secret."""
