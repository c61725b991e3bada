"""What differs between two results of one transition."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from beadline.store.tables import Transition

LEAST_IN_U = 1e-3  # a number that moved by less than this share of its uncertainty is the same number
LEAST_SHARE = 1e-6  # the same where no uncertainty is known
Pair = tuple[float, float]


def in_u(before: Pair, after: Pair) -> float | None:
    """Return by how many standard uncertainties a number moved; None where neither has one.

    Examples
    --------
    >>> in_u((1.0, 0.1), (1.25, 0.2)), in_u((1.0, 0.0), (1.25, 0.0))
    (2.5, None)
    """
    u = before[1] or after[1]
    return (after[0] - before[0]) / u if u else None


def moved(before: Pair, after: Pair) -> bool:
    """Tell whether a number is another one.

    Examples
    --------
    >>> moved((1.0, 0.1), (1.00001, 0.1)), moved((1.0, 0.1), (1.01, 0.1)), moved((1.0, 0.0), (1.01, 0.0))
    (False, True, True)
    """
    change = in_u(before, after)
    if change is None:
        return abs(after[0] - before[0]) > LEAST_SHARE * abs(before[0])
    return abs(change) > LEAST_IN_U


def numbers_moved(before: Mapping[str, Any], after: Mapping[str, Any]) -> bool:
    """Tell whether any of some numbers came, went or is another one; None is no number."""
    old = {name: pair for name, pair in before.items() if pair is not None}
    new = {name: pair for name, pair in after.items() if pair is not None}
    return old.keys() != new.keys() or any(moved(old[name], new[name]) for name in old)


def changed(old: Transition | None, new: Transition) -> bool:
    """Tell whether a result says something else than the one before it."""
    if old is None or old.usable != new.usable or numbers_moved(old.estimates, new.estimates):
        return True
    return old.withheld.keys() != new.withheld.keys() or _codes(old) != _codes(new)


def same(old: Transition | None, new: Transition) -> bool:
    """Tell whether a result is the one that is stored, so that storing it again would say nothing."""
    alike = old is not None and all(
        getattr(old, name) == getattr(new, name) for name in ("method", "method_version", "settings", "plan")
    )
    return alike and not changed(old, new)


def _codes(row: Transition) -> set[str]:
    return {doubt["code"] for doubt in row.doubts}
