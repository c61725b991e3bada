"""What becomes of each row of a sheet of earlier results."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Literal

from beadline.features.cycles.schemas import RunFacts
from beadline.features.intake.schemas import TypedValues
from beadline.reading.earlier import EarlierSheet
from beadline.store.tables import Packing

Status = Literal["accepted", "there already", "refused", "left out"]
STATUSES: tuple[Status, ...] = ("accepted", "there already", "refused", "left out")


@dataclass(frozen=True, slots=True)
class Entry:
    """What is recorded of a row."""

    facts: RunFacts
    values: TypedValues


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """A row with what becomes of it.

    Attributes
    ----------
    row : int
        Its number in the file.
    said, where, mend : str
        Why, which cell, and what to do about it; for an accepted row what to look at, if anything.
    entry : Entry or None
        What is recorded; None unless it is accepted.
    """

    row: int
    status: Status
    cycle: int | None = None
    said: str = ""
    where: str = ""
    mend: str = ""
    entry: Entry | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole sheet, weighed against what a bed's record holds.

    Attributes
    ----------
    packing : Packing
        The bed that the rows are taken for.
    sheet : EarlierSheet
        How the file was read.
    rows : tuple of Weighed
    sha256 : str
        Hash of the file.
    recorded : int
        How many rows were recorded; 0 after a look.
    """

    packing: Packing
    sheet: EarlierSheet
    rows: tuple[Weighed, ...]
    sha256: str
    recorded: int = 0

    @property
    def counts(self) -> dict[Status, int]:
        """How many rows have each status."""
        found = Counter(row.status for row in self.rows)
        return {status: found[status] for status in STATUSES}
