"""The rows of a long list, gathered by the name that each carries."""

from __future__ import annotations

from array import array
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from beadline.reading import cells, delimiters, layout
from beadline.reading.errors import UnreadableFile
from beadline.reading.long_shape import Shape
from beadline.reading.trace import Floats
from beadline.reading.wording import counted, shown

_STRANGE = 0.1  # largest part of lines that may be no rows


@dataclass
class Tag:
    """The rows of one name: where each lies, its value, and its quality word."""

    unit: str = ""
    about: str = ""
    places: array[int] = field(default_factory=lambda: array("q"))
    values: array[float] = field(default_factory=lambda: array("d"))
    quality: array[int] = field(default_factory=lambda: array("q"))
    words: dict[int, tuple[int, str]] = field(default_factory=dict)  # by row: line number and word

    @property
    def is_words(self) -> bool:
        """Whether most of the values are words, as those of a step's name are."""
        return 2 * len(self.words) > len(self.values)


@dataclass
class Rows:
    """All rows.

    Attributes
    ----------
    tags : dict of str to Tag
    places : list of str
        The distinct times or volumes as written; `Tag.places` counts them.
    qualities : list of str
        The distinct quality words; `Tag.quality` counts them.
    passed_over : int
        Lines that are no rows.
    """

    tags: dict[str, Tag] = field(default_factory=dict)
    places: list[str] = field(default_factory=list)
    qualities: list[str] = field(default_factory=list)
    passed_over: int = 0


def gather(lines: Iterable[str], shape: Shape, filename: str) -> Rows:
    """Gather the rows below the header.

    Raises
    ------
    UnreadableFile
        If there are too many names, or too many lines are no rows.
    """
    out, places, qualities = Rows(), _Numbered(), _Numbered()
    number = 0
    for number, line in enumerate(lines, 1):
        if number <= shape.first or not line.strip():
            continue
        row = delimiters.split(line, shape.delimiter)
        row += [""] * (shape.width - len(row))
        place, name = " ".join(row[at] for at in shape.place), row[shape.tag]
        if len(row) > shape.width or not name or not (place in places or _is_place(place, shape)):
            out.passed_over += tuple(row) != shape.headers
            continue
        tag = out.tags.get(name) or _new(out, name, row, shape, number)
        tag.places.append(places.of(place))
        tag.quality.append(qualities.of(row[shape.quality].lower() if shape.quality is not None else ""))
        _add_value(tag, row[shape.value], shape.decimal, number)
    out.places, out.qualities = places.all, qualities.all
    if out.passed_over > _STRANGE * max(1, number):
        raise _too_many_strange(out.passed_over, shape, filename)
    return out


class _Numbered:
    """Distinct words, numbered as they come."""

    def __init__(self) -> None:
        self.all: list[str] = []
        self._known: dict[str, int] = {}

    def __contains__(self, word: str) -> bool:
        return word in self._known

    def of(self, word: str) -> int:
        if (known := self._known.get(word)) is None:
            known = self._known[word] = len(self.all)
            self.all.append(word)
        return known


def _new(out: Rows, name: str, row: Sequence[str], shape: Shape, number: int) -> Tag:
    if len(out.tags) >= layout.MOST_COLUMNS:
        raise UnreadableFile(
            f"The list holds more than {layout.MOST_COLUMNS} names.",
            where=f"line {number}",
            mend="Export only the tags that belong to the column.",
            code="too-many-columns",
        )
    unit = row[shape.unit] if shape.unit is not None else ""
    out.tags[name] = Tag(unit, row[shape.about] if shape.about is not None else "")
    return out.tags[name]


def _is_place(place: str, shape: Shape) -> bool:
    return cells.is_when(place) or cells.is_number(place, shape.decimal)


def _add_value(tag: Tag, cell: str, decimal: str, number: int) -> None:
    if cells.is_number(cell, decimal):
        tag.values.append(cells.to_float(cell, decimal))
        return
    tag.values.append(float("nan"))
    if cell and not cells.is_quality(cell) and not cells.is_failed(cell):
        tag.words[len(tag.values) - 1] = number, cell


def good(rows: Rows, quality_column: str) -> set[int]:
    """Return which quality words call a value good.

    Raises
    ------
    UnreadableFile
        If none of those in the file does.

    Notes
    -----
    Numbers follow what is usual, from memory: 192 and above is good in OPC; else 0 (no error), 1 or 100
    (percent good) is good if it is the most frequent one.
    """
    count = Counter(word for tag in rows.tags.values() for word in tag.quality)
    words = {index: word for index, word in enumerate(rows.qualities) if count[index]}
    numbers = {index: float(word) for index, word in words.items() if cells.is_number(word, ".")}
    fine = {index for index, word in words.items() if not word or word in cells.GOOD_WORDS}
    fine |= {index for index, value in numbers.items() if 192 <= value <= 255}
    usual = max(numbers, key=lambda index: count[index], default=None)
    if not fine and usual is not None and numbers[usual] in (0.0, 100.0):
        fine.add(usual)
    if words and not fine:
        listed = ", ".join(shown(word) for word in list(words.values())[:4])
        raise UnreadableFile(
            f"The column {shown(quality_column)} calls no value good (it says {listed}).",
            where=f"column {shown(quality_column)}",
            mend="Export the values of a time when the probes were well, or leave the quality column out "
            "if its words are no judgement.",
            code="all-bad",
        )
    return fine


def values_of(tag: Tag, name: str, fine: set[int]) -> tuple[Floats, str]:
    """Return the values of a tag, NaN where bad or missing, with a sentence on what is missing.

    Raises
    ------
    UnreadableFile
        If a value among numbers is neither a number nor a word for a missing one.
    """
    strange = next((said for row, said in tag.words.items() if tag.quality[row] in fine), None)
    if strange is not None:
        number, cell = strange
        raise UnreadableFile(
            f"The value of {shown(name)} is {shown(cell)} where a number is needed.",
            where=f"line {number}",
            mend="Correct the value, or leave it empty if there is none.",
            code="text-in-number",
        )
    values = np.array(tag.values)
    bad = ~np.isin(np.array(tag.quality), list(fine)) & np.isfinite(values)
    gaps = int(np.isnan(values).sum())
    said = [f"{counted(int(bad.sum()), 'value')} called bad"] if bad.any() else []
    said += [f"{counted(gaps, 'value')} missing"] if gaps else []
    note = f"{shown(name)}: {' and '.join(said)}, kept as gaps." if said else ""
    return np.where(bad, np.nan, values), note


def _too_many_strange(count: int, shape: Shape, filename: str) -> UnreadableFile:
    return UnreadableFile(
        f"The file looks like a long list (one value a row, named by column {shape.tag + 1}), but "
        f"{counted(count, 'line')} lack a name, or a time that can be understood.",
        where=filename,
        mend="Export rows of time, tag and value alone, one run in a file.",
        code="not-a-table",
    )
