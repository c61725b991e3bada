"""Some lines of a text, from which its layout is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from beadline.reading import delimiters

_NEAR = 64  # lines from the top that are all looked at; of the rest a few are enough to tell the marks


@dataclass
class Sample:
    """The first lines of a text, and lines from further down, which help to tell the decimal mark.

    Some lines that follow the first may be there as well, so that these need not be read once more.
    """

    lines: Sequence[str]
    deeper: Sequence[str]
    filename: str
    following: Sequence[str] = ()
    _rows: dict[str, delimiters.Rows] = field(default_factory=dict)

    @cached_property
    def marks(self) -> tuple[str, str] | None:
        """The delimiter and the decimal mark; None if nothing becomes numbers."""
        top, rest = self.lines[:_NEAR], self.lines[_NEAR :: 1 + len(self.lines) // 40]
        return delimiters.marks((*top, *rest, *self.deeper[:: 1 + len(self.deeper) // 40]))

    def rows(self, delimiter: str) -> delimiters.Rows:
        """Return the cells of the first lines."""
        if delimiter not in self._rows:
            self._rows[delimiter] = [delimiters.split(line, delimiter) for line in self.lines]
        return self._rows[delimiter]
