"""The token of a form, masked anew in every page.

Pages are compressed, and some show what was in the address. Who can send many addresses and see how long
the answers are could guess a secret that stands in each page, letter by letter. So the token itself never
stands in a page: what does is a random pad and the token under it, which say nothing without each other and
are never the same twice.
"""

from __future__ import annotations

import secrets


def masked(token: str) -> str:
    """Return what a page carries for a token.

    Examples
    --------
    >>> first, second = masked("heron"), masked("heron")
    >>> first != second, fits(first, "heron"), fits(second, "heron"), fits(first, "egret")
    (True, True, True, False)
    """
    plain = token.encode()
    pad = secrets.token_bytes(len(plain))
    return (pad + _over(plain, pad)).hex()


def fits(given: str, token: str) -> bool:
    """Tell whether what a form brought back stands for this token; the bare token does not."""
    try:
        content = bytes.fromhex(given)
    except ValueError:
        return False
    pad, covered = content[: len(content) // 2], content[len(content) // 2 :]
    return len(pad) == len(covered) and secrets.compare_digest(_over(covered, pad), token.encode())


def _over(text: bytes, pad: bytes) -> bytes:
    return bytes(one ^ other for one, other in zip(text, pad, strict=True))
