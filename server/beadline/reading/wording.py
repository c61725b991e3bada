"""Small pieces of sentences about a file."""

from __future__ import annotations


def shown(text: str, *, longest: int = 40) -> str:
    """Return text of a file in quotes, short and printable, for use in a message."""
    clean = "".join(letter if letter.isprintable() else "�" for letter in text.strip())
    return f"“{clean if len(clean) <= longest else clean[: longest - 1] + '…'}”"


def counted(count: int, noun: str) -> str:
    """Return a number with its noun, which takes an s for the plural."""
    return f"{count} {noun}" if count == 1 else f"{count} {noun}s"
