"""Passwords: which are taken, how they are kept, and whether one fits."""

from __future__ import annotations

import secrets
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import VerificationError

from beadline.kit.errors import Invalid

SHORTEST = 15  # characters: NIST SP 800-63B-4, 3.1.1.2, for a password that is the only proof
LONGEST = 256  # the same asks that at least 64 are taken
FEWEST_DIFFERENT = 6  # different characters; fewer are a pattern that is guessed early
COMMON = ("password", "passwort", "qwerty", "qwertz", "letmein", "changeme", "beadline", "123456", "abcdef")

_hasher = PasswordHasher()


def check_choice(password: str, *, name: str, where: str = "password") -> None:
    """Refuse a password that is guessed early; no rule asks for kinds of characters or for a change by date.

    Raises
    ------
    Invalid
        If it is too short or too long, is made of a few characters, or of the account's name or of words
        that everybody tries.

    References
    ----------
    NIST SP 800-63B-4 (2025), section 3.1.1.2: length, a blocklist, no rules of composition, no expiry.
    """
    if not SHORTEST <= len(password) <= LONGEST:
        what = "short" if len(password) < SHORTEST else "long"
        raise Invalid(
            f"This password is too {what}.",
            where=where,
            mend=f"Use {SHORTEST} to {LONGEST} characters; a sentence that nobody knows is fine.",
        )
    left = password.lower()
    for known in (*COMMON, name.lower()):
        left = left.replace(known, "")
    if len(set(left)) < FEWEST_DIFFERENT:
        raise Invalid(
            "This password is easy to guess: a pattern, the account's name or a word that everybody tries.",
            where=where,
            mend="Use a sentence that nobody else would think of.",
        )


def hashed(password: str) -> str:
    """Return what is kept of a password: argon2id, salted."""
    return _hasher.hash(password)


def fits(password_hash: str | None, password: str) -> bool:
    """Tell whether a password fits; without a hash none does, and it takes as long to say so."""
    try:
        return _hasher.verify(password_hash or _nobodys(), password)
    except VerificationError:
        return False


@cache
def _nobodys() -> str:
    return _hasher.hash(secrets.token_urlsafe())


def temporary() -> str:
    """Make a password for somebody else, who has to replace it at the first sign-in."""
    return "-".join(secrets.token_hex(2) for _ in range(4))
