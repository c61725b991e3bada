"""How a sheet of results is read: which column is what, in which unit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from beadline.reading.errors import UnreadableFile

# Stored and sent names of what a column can be, with the words of the screen; never renamed.
ROLES: Mapping[str, str] = {
    "ignored": "not used",
    "cycle": "cycle number",
    "date": "date",
    "clock": "time of day",
    "batch": "batch",
    "product": "product",
    "column": "column",
    "note": "note",
    "hetp": "plate height (HETP)",
    "plates": "plates of the bed",
    "plates_per_length": "plates per length",
    "reduced_hetp": "reduced plate height",
    "asymmetry": "asymmetry",
    "mean": "mean breakthrough volume",
    "variance": "variance",
    "pressure_drop": "pressure drop",
}
VALUES = (
    "hetp", "plates", "plates_per_length", "reduced_hetp", "asymmetry", "mean", "variance", "pressure_drop"
)  # fmt: skip
DAY_ORDERS = ("", "day first", "month first")
# Units that a role takes, as offered; the first is shown where none is needed.
UNITS: Mapping[str, tuple[str, ...]] = {
    "hetp": ("cm", "mm", "m", "µm"),
    "plates_per_length": ("1/m", "1/cm"),
    "mean": ("CV",),
    "variance": ("CV²",),
    "pressure_drop": ("bar", "kPa", "MPa", "psi", "mbar"),
}


@dataclass(frozen=True, slots=True)
class ColumnUse:
    """What one column of a sheet is taken for; `index` counts from 0."""

    index: int
    header: str
    role: str = "ignored"
    unit: str = ""


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """How a sheet is read.

    Attributes
    ----------
    sheet : str
        Its name; empty for a text file.
    header_row : int
        Number of the row that names the columns, as in the file.
    columns : tuple of ColumnUse
    day_order : str
        Whether 04/03/2019 is the 4th of March ("day first") or the 3rd of April; "" where that is not known.
    """

    sheet: str
    header_row: int
    columns: tuple[ColumnUse, ...]
    day_order: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return plain values that JSON can hold."""
        return asdict(self)

    def corrected(self, *, columns: Mapping[int, Mapping[str, str]], day_order: str = "") -> SheetPlan:
        """Return the plan with what a person changed: by place of the column its role and unit.

        Raises
        ------
        UnreadableFile
            If there is no such role, or two columns are to be the same.
        """
        changed = tuple(
            replace(one, role=told.get("role", one.role), unit=told.get("unit", one.unit))
            for one in self.columns
            for told in [columns.get(one.index, {})]
        )
        _refuse_unknown(changed, day_order)
        return replace(self, columns=changed, day_order=day_order or self.day_order)


def _refuse_unknown(columns: tuple[ColumnUse, ...], day_order: str) -> None:
    seen: dict[str, str] = {}
    for one in columns:
        if one.role not in ROLES:
            known = ", ".join(ROLES)
            raise UnreadableFile(
                f"“{one.role}” is nothing that a column can be.",
                where=f"column {one.index + 1}",
                mend=f"Choose one of {known}.",
                code="unknown-role",
            )
        if one.role in seen and one.role not in ("ignored", "note"):
            raise UnreadableFile(
                f"“{seen[one.role]}” and “{one.header}” are both taken for {ROLES[one.role]}.",
                where=f"column {one.index + 1}",
                mend="Set one of them to another use, or to not used.",
                code="doubled-role",
            )
        seen[one.role] = one.header
    if day_order not in DAY_ORDERS:
        raise UnreadableFile(
            f"“{day_order}” is no order of day and month.",
            where="day_order",
            mend="Say “day first” or “month first”.",
            code="unknown-order",
        )
