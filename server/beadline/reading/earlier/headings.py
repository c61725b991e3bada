"""Which row of a sheet names its columns, and what each of them is."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from beadline.reading import cells
from beadline.reading.earlier.grid import Grid
from beadline.reading.earlier.plan import UNITS, VALUES, ColumnUse, SheetPlan
from beadline.reading.errors import UnreadableFile
from beadline.reading.units import factor_to
from beadline.reading.wording import shown

_NAMES: tuple[tuple[str, str], ...] = (
    ("reduced_hetp", r"reduced|reduziert|r[ée]duite|^h$"),
    ("plates_per_length", r"(?:plates?|\bn)\s*(?:/|per)\s*(?:c?m\b|met|cent)|\bn/l\b|b[öo]den\s*/\s*c?m\b"),
    ("hetp", r"hetp|\bhept\b|plate height|bodenh|stufenh|hauteur.*plateau"),
    ("plates", r"\bplates?\b|plate (?:count|number)|bodenzahl|trennstufen|plateaux|^n$"),
    ("asymmetry", r"asym|\ba[_ ]?[sf]\b"),
    ("variance", r"varian[cz]|second moment|σ²|sigma ?²|\bm2\b"),
    ("mean", r"\bmean\b|first moment|breakthrough vol|mittel|\bm1\b|µ1"),
    ("pressure_drop", r"pressure|druck|presi[oó]n|pression|δ ?p\b|delta ?p\b|\bdp\b"),
    ("date", r"\bdate|datum|fecha|\bday\b|\btag\b|\bstarted\b"),
    ("clock", r"\btime\b|uhrzeit|heure|\bhora\b"),
    ("cycle", r"cycle|zyklus|ciclo|\buses?\b|^run\b|\blauf|^n[or°]\.?$|^#$"),
    ("batch", r"batch|charge|\blot[e]?\b"),
    ("product", r"product|produkt|produit|molecule"),
    ("note", r"note|remark|comment|bemerk|kommentar|observa"),
    ("column", r"^(?:column|säule|colonne|columna)(?: (?:tag|name|id|no\.?))?$|asset"),
)  # fmt: skip
_COMPILED = tuple((role, re.compile(pattern, re.IGNORECASE)) for role, pattern in _NAMES)
_BRACKETS = re.compile(r"[\[(]([^\[\]()]{1,24})[\])]")
_PER_LENGTH = re.compile(r"(?:/|per\s+)\s*(c?)m(?:et|\b)|(?:/|per\s+)\s*(cent)i?m", re.IGNORECASE)
_CANONICAL = {"hetp": "m", "pressure_drop": "Pa"}
_FEWEST = 2  # columns that must be known by name in the row of names
_DEEPEST = 200  # rows from the top among which that row is


def plan_of(grids: Sequence[Grid], filename: str, *, sheet: str = "") -> SheetPlan:
    """Recognise the columns of the sheet that looks most like a list of results, or of the one named.

    Raises
    ------
    UnreadableFile
        If no row names at least two columns that are known, one of them with results.
    """
    chosen = [one for one in grids if not sheet or one.sheet == sheet]
    if not chosen:
        every = ", ".join(shown(one.sheet) for one in grids)
        raise UnreadableFile(
            f"There is no sheet {shown(sheet)}; the file has {every}.",
            where="sheet",
            mend="Name one of them.",
            code="no-such-sheet",
        )
    best = max(chosen, key=lambda one: (_score(one), len(one.rows)))
    place = _heading_place(best)
    if place is None:
        raise UnreadableFile(
            "No row names the columns: at least two must be known, one of them with results.",
            where=f"sheet {shown(best.sheet)}" if best.sheet else filename,
            mend="Write one row of names above the numbers, such as Cycle, Date, HETP [cm], Asymmetry.",
            code="no-heading",
        )
    number, names = best.rows[place]
    below = best.rows[place + 1][1] if place + 1 < len(best.rows) else []
    return SheetPlan(best.sheet, number, _columns(names, below if is_unit_row(below) else ()))


def is_unit_row(row: Sequence[str]) -> bool:
    """Tell whether a row holds nothing but units."""
    filled = [cell.strip("[]() ") for cell in row if cell.strip("[]() ")]
    known = [
        cell for cell in filled if factor_to(cell, "m") or factor_to(cell, "Pa") or cell.upper() in _BARE
    ]
    return bool(known) and len(known) == len(filled)


_BARE = ("CV", "CV2", "CV²", "-", "–", "1/M", "1/CM", "YYYY-MM-DD", "DD.MM.YYYY", "NO.")


def role_of(header: str) -> str:
    """Return what a column's name speaks of, a key of `ROLES`.

    Examples
    --------
    >>> role_of("HETP [cm]"), role_of("N/m"), role_of("Column pressure"), role_of("Operator")
    ('hetp', 'plates_per_length', 'pressure_drop', 'ignored')
    """
    words = re.sub(r"[_\s]+", " ", _BRACKETS.sub(" ", header)).strip(" :.") or header
    whole = header.strip()
    for role, pattern in _COMPILED:
        if pattern.search(words) or (role == "plates_per_length" and pattern.search(whole)):
            return role
    return "ignored"


def _score(grid: Grid) -> int:
    place = _heading_place(grid)
    return 0 if place is None else len(_roles(grid.rows[place][1]))


def _heading_place(grid: Grid) -> int | None:
    """Return the place of the row that names the most columns; the first of equals."""
    found = [
        (len(roles), -place)
        for place, (_, row) in enumerate(grid.rows[:_DEEPEST])
        if len(roles := _roles(row)) >= _FEWEST and roles & set(VALUES)
    ]
    return -max(found)[1] if found else None


def _roles(row: Sequence[str]) -> set[str]:
    names = [cell for cell in row if cell and len(cell) <= 60 and not cells.is_number(cell, ".")]
    return {role_of(name) for name in names} - {"ignored"}


def _columns(names: Sequence[str], units: Sequence[str]) -> tuple[ColumnUse, ...]:
    used: set[str] = set()
    columns = []
    width = max(len(names), len(units))
    for index in range(width):
        name = names[index] if index < len(names) else ""
        one = ColumnUse(index, name, role_of(name) if name else "ignored")
        if one.role in used and one.role != "note":
            one = replace(one, role="ignored")  # the first of that name is taken; a person can change it
        used.add(one.role)
        cell = units[index] if index < len(units) else ""
        columns.append(replace(one, unit=unit_of_role(one.role, name, cell)))
    return tuple(columns)


def unit_of_role(role: str, header: str, unit_cell: str = "") -> str:
    """Return the unit that a column's name or the row of units below it tells; empty where neither does."""
    if role in ("mean", "variance"):
        return UNITS[role][0] if not (told := _told(header, unit_cell)) or "CV" in told.upper() else told
    if role == "plates_per_length":
        found = _PER_LENGTH.search(f"{header} {unit_cell}")
        return "" if found is None else "1/cm" if found[1] or found[2] else "1/m"
    if role not in _CANONICAL:
        return ""
    told = _told(header, unit_cell)
    if told:
        return told
    tail = re.split(r"[,/]| in |\s|_", header.strip())[-1]
    return tail if tail != header.strip() and factor_to(tail, _CANONICAL[role]) else ""


def _told(header: str, unit_cell: str) -> str:
    found = _BRACKETS.findall(header)
    return unit_cell.strip("[]() ") or (found[-1].strip() if found else "")
