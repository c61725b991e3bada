"""How a verdict looks on every page: a kind, which is a shape, a colour and a word."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from beadline.kit import words

Kind = Literal["ok", "watch", "act", "void", "out"]

KIND_OF_VERDICT: dict[str, Kind] = {
    "in limits": "ok",
    "past alert limit": "watch",
    "past action limit": "act",
    "not usable": "void",
    "excluded": "out",
}
KIND_OF_LEVEL: dict[str, Kind] = {"": "ok", "alert": "watch", "action": "act"}
KIND_OF_CONDITION: dict[str, Kind] = {
    "not qualified": "watch",
    "learning baseline": "ok",
    "in control": "ok",
    "drifting": "watch",
    "degraded": "act",
    "on hold": "watch",
    "retired": "void",
}


@dataclass(frozen=True, slots=True)
class Lede:
    """The sentence on top of a page: what stands out, then the rest."""

    lead: str
    rest: str
    kind: Kind = "ok"


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberLine:
    """One number with its limit; the kind is empty where nothing judges it."""

    label: str
    unit: str
    value: str
    u: str
    limit: str
    kind: Kind | Literal[""]
    doubt: str = ""


def span(low: float | None, high: float | None, digits: int) -> str:
    """Write limits in words; empty where there are none.

    Examples
    --------
    >>> span(0.96, 1.02, 3), span(None, 1.8, 3)
    ('0.960 to 1.02', 'at most 1.80')
    """
    if low is not None and high is not None:
        return f"{words.number(low, digits)} to {words.number(high, digits)}"
    if high is not None:
        return f"at most {words.number(high, digits)}"
    return f"at least {words.number(low, digits)}" if low is not None else ""
