"""Everything needed to read a file of one layout again without guessing."""

from __future__ import annotations

import codecs
import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from beadline.reading.errors import UnreadableFile

Kind = Literal["text", "workbook", "long", "andi", "animl"]
Use = Literal["volume", "time", "clock", "date", "signal", "mark", "quality", "ignored"]

USES = ("volume", "time", "clock", "date", "signal", "mark", "quality", "ignored")
QUANTITIES = ("conductivity", "uv", "ph", "pressure", "flow", "temperature", "other")
DELIMITERS = ("\t", ";", ",", "|", "spaces")
STARTS = ("file", "none")
VERSION = 1


@dataclass(frozen=True, slots=True)
class ColumnPlan:
    """How one column is read.

    Attributes
    ----------
    index : int
        Its place in the file, from 0.
    header : str
        Its header as written.
    use : Use
        An axis (volume, elapsed time, clock or date), a signal, step marks, quality words, or nothing.
    quantity : str
        What a signal measures; empty for the rest.
    unit : str
        Normalised unit; empty if there is none.
    role : str
        "pre" or "post": a probe before or behind the column; "delta": a pressure difference.
    axis : int or None
        Index of the column's own axis column where columns come in pairs.
    """

    index: int
    header: str
    use: Use
    quantity: str = ""
    unit: str = ""
    role: str = ""
    axis: int | None = None


@dataclass(frozen=True, slots=True)
class Profile:
    """One skid's layout.

    Attributes
    ----------
    kind : Kind
        Delimited text, workbook, long list in either, netCDF (ASTM E1947) or AnIML.
    encoding, delimiter, decimal : str
        Of delimited text.
    header : tuple of tuple of str
        The header rows, cell by cell; a later file must carry the same.
    columns : tuple of ColumnPlan
    axis : "volume" or "time"
        "time" means that flow is integrated over time.
    sheet : str
        Of a workbook.
    flow_m3_s, bed_volume_m3, column_area_m2 : float or None
        Facts that were given, or stood above the numbers, because the columns alone don't yield a volume.
    start : "file" or "none"
        Whether what the file says of the run's start is taken.
    """

    kind: Kind
    columns: tuple[ColumnPlan, ...]
    axis: Literal["volume", "time"]
    header: tuple[tuple[str, ...], ...] = ()
    encoding: str = ""
    delimiter: str = ""
    decimal: str = "."
    sheet: str = ""
    flow_m3_s: float | None = None
    bed_volume_m3: float | None = None
    column_area_m2: float | None = None
    start: Literal["file", "none"] = "file"
    version: int = field(default=VERSION)

    def __post_init__(self) -> None:
        """Refuse what no file could be read by."""
        indices = [column.index for column in self.columns]
        width = max([len(indices), *(len(row) for row in self.header)])
        wrong = [
            (self.version != VERSION, f"its version is {self.version}"),
            (
                self.kind not in ("text", "workbook", "long", "andi", "animl"),
                f"it is for files of the kind {self.kind}",
            ),
            (self.axis not in ("volume", "time"), f"its axis is {self.axis}"),
            (self.decimal not in (".", ","), f"its decimal mark is {self.decimal}"),
            (self.start not in STARTS, f"it takes the start from {self.start}"),
            (
                self.kind == "text" and self.delimiter not in DELIMITERS,
                f"its delimiter is {self.delimiter!r}",
            ),
            (not _is_encoding(self.encoding), f"its encoding is {self.encoding}"),
            (len(set(indices)) < len(indices) or not indices, "columns are named twice, or none is"),
            (not set(indices) <= set(range(width)), f"it names a column beyond the {width} of its header"),
            (
                not {column.axis for column in self.columns} <= {None, *indices},
                "a column's own axis does not exist",
            ),
        ]
        if found := next((why for is_wrong, why in wrong if is_wrong), ""):
            raise _broken(found)

    @property
    def layout_sha256(self) -> str:
        """Hash over what files of one layout share: their kind, the mark between cells, and the header."""
        header = [[cell.strip() for cell in row] for row in self.header]
        known = [self.kind, self.delimiter, [row for row in header if any(row)]]
        return hashlib.sha256(json.dumps(known).encode()).hexdigest()

    def of_the_layout(self) -> Profile:
        """Return the profile without what belongs to one run: the bed's facts, and the text's encoding."""
        return replace(self, encoding="", flow_m3_s=None, bed_volume_m3=None, column_area_m2=None)

    def to_dict(self) -> dict[str, Any]:
        """Return plain values that JSON can hold."""
        plain = {name: getattr(self, name) for name in self.__dataclass_fields__}
        plain["columns"] = [
            {name: getattr(column, name) for name in column.__dataclass_fields__} for column in self.columns
        ]
        plain["header"] = [list(row) for row in self.header]
        return plain

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Profile:
        """Return the profile that `to_dict` wrote.

        Raises
        ------
        UnreadableFile
            If it holds something else.
        """
        try:
            values = dict(plain)
            values["columns"] = tuple(_column(column) for column in values["columns"])
            values["header"] = tuple(tuple(str(cell) for cell in row) for row in values.get("header", ()))
            return cls(**values)
        except UnreadableFile:
            raise
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise _broken(str(error)) from error


def _is_encoding(name: str) -> bool:
    try:
        return not name or bool(codecs.lookup(name))
    except (LookupError, ValueError):
        return False


def _column(plain: Mapping[str, Any]) -> ColumnPlan:
    column = ColumnPlan(**plain)
    if (
        column.use not in USES
        or column.quantity not in ("", *QUANTITIES)
        or column.role not in ("", "pre", "post", "delta")
    ):
        raise ValueError(
            f"column {column.index + 1} is to be read as {column.use} {column.quantity} {column.role}"
        )
    if not isinstance(column.index, int) or column.index < 0:
        raise ValueError(f"a column has the index {column.index}")
    return column


def _broken(why: str) -> UnreadableFile:
    return UnreadableFile(
        f"The reading profile can't be understood: {why}.",
        where="reading profile",
        mend="Let the file be recognised afresh, and save that as a new version of the profile.",
        code="broken-profile",
    )
