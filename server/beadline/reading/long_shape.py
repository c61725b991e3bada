"""Long lists, as historians export them: which column holds the place, the name, the value and the rest."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from beadline.reading import cells, lines
from beadline.reading.columns import SIGNALS
from beadline.reading.headers import Header, understand
from beadline.reading.sample import Sample
from beadline.reading.units import unit_of

_ENOUGH = 40  # cells from the top, and as many from the end, that tell what a column holds
_TAG = re.compile(
    r"\W*(?:(?:tag|point|signal|variable|parameter|item|channel|sensor|instrument|measurement|series|attribute"
    r"|metric|kanal|messstelle|mess(?:wert|gr[öo](?:ss|ß)e)name|stelle|capteur|voie|variable|node|pen|source)"
    r"[ _.-]*(?:name|id|no|nr|path|key)?|name|path|historical[ _]?id|bezeichner)\W*",
    re.IGNORECASE,
)
_VALUE = re.compile(
    r"\W*(?:(?:tag|point|raw|num(?:eric)?|process|float|real|avg|mean|average|analog)?[ _.-]*"
    r"(?:value|val|reading|messwert|wert|valeur|valor|data|pv|result)s?"
    r"|avg|average|mean|mittelwert)(?:[ _]?(?:float|num|double))?\W*",
    re.IGNORECASE,
)
_UNIT = re.compile(
    r"\W*(?:eng(?:ineering)?[ _.-]?)?(?:units?|uom|eu|einheit|unit[ée]s?|unidad)\W*", re.IGNORECASE
)
_QUALITY = re.compile(r"qual|status|stat\b|valid|confidence|\bbad\b|good", re.IGNORECASE)
_ABOUT = re.compile(r"desc|bezeichnung|beschreibung|libell|label|klartext", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Shape:
    """How a long list is laid out; columns by their index.

    Attributes
    ----------
    delimiter, decimal : str
    width : int
        Number of columns.
    first : int
        Lines above the first row.
    place : tuple of int
        One column of times, elapsed times or volumes, or two: the date and the clock.
    place_header : Header
        What the header of the first of them says.
    tag, value : int
    unit, quality, about : int or None
        Columns of units, of words that call a value good or bad, and of descriptions.
    headers : tuple of str
        As written; empty if no line names the columns.
    """

    delimiter: str
    decimal: str
    width: int
    first: int
    place: tuple[int, ...]
    place_header: Header
    tag: int
    value: int
    unit: int | None
    quality: int | None
    about: int | None
    headers: tuple[str, ...]


def find(sample: Sample) -> Shape | None:
    """Return the shape of a long list, or None if the lines are anything else."""
    if sample.marks is None or sample.marks[0] == lines.SPACES:
        return None
    delimiter, decimal = sample.marks
    rows = sample.rows(delimiter)
    width = Counter(map(len, filter(any, rows))).most_common(1)[0][0]
    first = next((at for at, row in enumerate(rows) if len(row) == width and _is_row(row, decimal)), None)
    if not 3 <= width <= 20 or first is None:
        return None
    above = rows[first - 1] if first and 3 <= len(rows[first - 1]) <= width else []
    header = [*above, *[""] * (width - len(above))]
    body = [row for row in rows[first:] if len(row) == width]
    below = [tuple(filter(None, cells_below)) for cells_below in zip(*body, strict=True)]
    looks = [_Column(header[at], below[at], decimal) for at in range(width)]
    return _shape(looks, delimiter, decimal, first)


def _is_row(row: Sequence[str], decimal: str) -> bool:
    """Tell whether a row has a place, a value and a word."""
    placed = sum(cells.is_when(cell) or cells.is_number(cell, decimal) for cell in row)
    return placed >= 1 and placed < sum(1 for cell in row if cell) and bool(row[0] or row[1])


@dataclass(frozen=True, slots=True)
class _Column:
    header: str
    below: tuple[str, ...]
    decimal: str

    def share(self, kind: str) -> float:
        """Return which part of the cells is a time, a number, or text."""
        if cells.all_plain(self.near, self.decimal):
            return float(kind == "number" and bool(self.near))
        tests = {
            "when": cells.is_when,
            "number": lambda cell: cells.is_number(cell, self.decimal) and not cells.is_when(cell),
            "text": lambda cell: not cells.is_number(cell, self.decimal) and not cells.is_when(cell),
        }
        return sum(map(tests[kind], self.near)) / max(1, len(self.near))

    @property
    def near(self) -> tuple[str, ...]:
        """The cells from the top and from the end that tell what the column holds."""
        return self.below if len(self.below) <= 2 * _ENOUGH else self.below[:_ENOUGH] + self.below[-_ENOUGH:]

    def names_signals(self) -> bool:
        """Tell whether the cells name several quantities that probes give."""
        known = [bool(set(understand(cell).kinds) & set(SIGNALS)) for cell in set(self.below)]
        return sum(known) >= 2 and 2 * sum(known) >= len(known)

    def holds_units(self) -> bool:
        """Tell whether the cells are units and nothing else."""
        return bool(self.below) and all(unit_of(cell) or cell in ("-", "1") for cell in set(self.below))


def _shape(looks: list[_Column], delimiter: str, decimal: str, first: int) -> Shape | None:
    if _tag(looks, list(range(len(looks)))) is None:
        return None  # before the rest is looked at: most files are none
    place = _place(looks)
    rest = [at for at in range(len(looks)) if at not in place]
    unit = _named(looks, rest, _UNIT) or next((at for at in rest if looks[at].holds_units()), None)
    quality = next(
        (at for at in rest if _QUALITY.search(looks[at].header) or _is_quality(looks[at].below)), None
    )
    about = next((at for at in rest if _ABOUT.search(looks[at].header)), None)
    rest = [at for at in rest if at not in (unit, quality, about)]
    value = _value(looks, rest)
    tag = _tag(looks, [at for at in rest if at != value])
    if not place or value is None or tag is None:
        return None
    headers = tuple(look.header for look in looks)
    at_place = understand(looks[place[0]].header)
    return Shape(
        delimiter, decimal, len(looks), first, place, at_place, tag, value, unit, quality, about,
        headers if any(headers) else (),
    )  # fmt: skip


def _place(looks: list[_Column]) -> tuple[int, ...]:
    """Return the columns that say when or where a value was taken: times go before numbers."""
    when = [at for at, look in enumerate(looks) if look.share("when") > 0.8]
    dates = [at for at in when if not any(":" in cell or "T" in cell for cell in looks[at].below[:50])]
    clocks = [at for at in when if at not in dates]
    if dates and clocks and not any(cells.DATE.match(cell) for cell in looks[clocks[0]].below[:50]):
        return dates[0], clocks[0]
    if when:
        return ((clocks or dates)[0],)
    for at, look in enumerate(looks):
        header = understand(look.header)
        kind = header.unit.kind if header.unit else ""
        named = not header.unit and {"time", "date", "volume"} & set(header.kinds)
        if look.share("number") > 0.8 and (kind in ("time", "volume", "bed volumes") or named):
            return (at,)
    return ()


def _value(looks: list[_Column], rest: list[int]) -> int | None:
    """Return the column of values: named so, or the only numbers that no header explains."""
    named = _named(looks, rest, _VALUE)
    if named is not None:
        return named
    numeric = [at for at in rest if looks[at].share("number") > 0.5]
    if len(numeric) != 1:
        return None
    header = understand(looks[numeric[0]].header)
    return None if header.unit or set(header.kinds) & set(SIGNALS) else numeric[0]


def _tag(looks: list[_Column], rest: list[int]) -> int | None:
    """Return the column of names: headed so, or holding the names of several probes."""
    rows = max(len(look.below) for look in looks)
    words = [at for at in rest if looks[at].share("text") > 0.5 and len(looks[at].below) >= 0.9 * rows]
    named = _named(looks, words, _TAG)
    return named if named is not None else next((at for at in words if looks[at].names_signals()), None)


def _named(looks: list[_Column], among: list[int], pattern: re.Pattern[str]) -> int | None:
    return next((at for at in among if pattern.fullmatch(looks[at].header)), None)


def _is_quality(below: tuple[str, ...]) -> bool:
    words = {cell.lower() for cell in below}
    return bool(words) and words <= cells.GOOD_WORDS | cells.QUALITY_WORDS and "1" not in words
