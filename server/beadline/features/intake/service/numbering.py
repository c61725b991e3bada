"""Give runs without a cycle number the numbers that their dates leave free."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime


def numbered(
    rows: Sequence[tuple[int, datetime]], recorded: Sequence[tuple[int, datetime]]
) -> Mapping[int, int | None]:
    """Return a cycle number for each run, in the order of the starts; None where too few are free.

    Parameters
    ----------
    rows : sequence of (int, datetime)
        Place in the file or request, and start, of each run without a number.
    recorded : sequence of (int, datetime)
        Number and start of each run that has one.

    Notes
    -----
    Runs that lie between the same two recorded ones take the numbers between these from below, all or none.

    Examples
    --------
    >>> day = lambda n: datetime(2020, 1, n)
    >>> dict(numbered([(7, day(9)), (6, day(2)), (5, day(1))], [(3, day(5))]))
    {5: 1, 6: 2, 7: 4}
    >>> dict(numbered([(5, day(1)), (6, day(2)), (7, day(3))], [(3, day(5))]))
    {5: None, 6: None, 7: None}
    """
    ordered = sorted(recorded, key=lambda one: one[1])
    gaps: dict[int, list[int]] = {}
    for row, start in sorted(rows, key=lambda one: (one[1], one[0])):
        before = sum(started <= start for _, started in ordered)
        gaps.setdefault(before, []).append(row)
    found: dict[int, int | None] = {}
    for before, inside in gaps.items():
        lowest = max((number for number, _ in ordered[:before]), default=0) + 1
        above = min((number for number, _ in ordered[before:]), default=None)
        fits = above is None or above - lowest >= len(inside)
        found |= {row: lowest + place if fits else None for place, row in enumerate(inside)}
    return found
