"""What the page Library shows."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One thing on a shelf: its cells, and where it opens if it does."""

    cells: tuple[str, ...]
    href: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """One table of the library; a heading is a name and whether its cells are numbers."""

    id: str
    title: str
    headings: tuple[tuple[str, bool], ...]
    rows: tuple[Row, ...]
    empty: str
    add_href: str = ""
    add_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One field of a form that adds to the library; `type` is that of the template library/form.html."""

    name: str
    label: str
    value: str = ""
    type: str = "text"
    unit: str = ""
    hint: str = ""
    required: bool = False
    options: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class PackingPlan:
    """A planned packing in words, with what to think of and the formulas."""

    numbers: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...]
    formulas: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AsPacked:
    """What a packing record comes to: pairs of label and text, and warnings as sentences."""

    bed: tuple[tuple[str, str], ...]
    pressure: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
