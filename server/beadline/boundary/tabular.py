"""Tables of numbers for programs: CSV, Parquet or JSON lines, as the program asks."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import Query, Request, Response

from beadline.kit.errors import Refusal

if TYPE_CHECKING:
    import pyarrow as pa

Format = Literal["csv", "parquet", "jsonl"]
Columns = Mapping[str, Sequence[Any]]
MEDIA: Mapping[Format, str] = {
    "csv": "text/csv; charset=utf-8",
    "parquet": "application/vnd.apache.parquet",
    "jsonl": "application/jsonl",
}
ALSO = {"application/x-ndjson": "jsonl", "application/parquet": "parquet"}
AskedFormat = Annotated[
    Format | None, Query(alias="format", description="If left out, as the header Accept says, else csv.")
]
DESCRIBED: dict[int | str, dict[str, Any]] = {
    200: {
        "description": "A table with a row of names",
        "content": {kind.partition(";")[0]: {} for kind in MEDIA.values()},
    }
}


class NotAcceptable(Refusal):
    """A kind of answer that is not made."""

    status = 406
    code = "not-acceptable"


def answer(request: Request, asked: Format | None, columns: Columns, *, filename: str) -> Response:
    """Return a table in the format that is asked for.

    Raises
    ------
    NotAcceptable
        If the program accepts none of those that are made.
    """
    chosen = asked or _accepted(request.headers.get("accept", ""))
    headers = {"Content-Disposition": f'attachment; filename="{filename}.{chosen}"'}
    return Response(encoded(columns, chosen), media_type=MEDIA[chosen], headers=headers)


def _accepted(accept: str) -> Format:
    """Return the first format that a header Accept names; weights are not compared."""
    kinds = [kind.partition(";")[0].strip().lower() for kind in accept.split(",") if kind.strip()]
    known: dict[str, Any] = {kind.partition(";")[0]: name for name, kind in MEDIA.items()} | ALSO
    for kind in kinds:
        if kind in known:
            return known[kind]  # type: ignore[no-any-return]
        if kind in ("*/*", "text/*", "application/*"):
            return "csv" if kind != "application/*" else "jsonl"
    if not kinds:
        return "csv"
    mend = f"Accept {', '.join(known)}, or say ?format=csv, parquet or jsonl."
    raise NotAcceptable(f"This table is not made as {', '.join(kinds)}.", where="Accept", mend=mend)


def encoded(columns: Columns, form: Format) -> bytes:
    """Return a table as bytes."""
    if form == "jsonl":
        names = list(columns)
        rows = zip(*columns.values(), strict=True)
        lines = (
            json.dumps(dict(zip(names, map(_plain, row), strict=True)), ensure_ascii=False) for row in rows
        )
        return "".join(f"{line}\n" for line in lines).encode()
    import pyarrow.csv  # here, since it would slow every start
    import pyarrow.parquet

    made, out = table(columns), io.BytesIO()
    if form == "parquet":
        pyarrow.parquet.write_table(made, out, compression="zstd")
    else:
        pyarrow.csv.write_csv(_for_csv(made), out)
    return out.getvalue()


def table(columns: Columns) -> pa.Table:
    """Return columns as an Arrow table; kinds follow from names, so that an empty one has them too."""
    import pyarrow as pa

    arrays = {name: pa.array(values, type=_kind(name, values)) for name, values in columns.items()}
    return pa.table(arrays)


_NUMBERS = ("value", "u", "drift", "volume_m3", "bed_height_m", "bed_volume_m3", "bead_diameter_m")
_COUNTS = ("packing", "cycle", "packing_id", "cycle_id", "revision")
_FLAGS = ("excluded", "voided", "usable")


def _kind(name: str, values: Sequence[Any]) -> pa.DataType:
    import pyarrow as pa

    if name.endswith("_at"):
        return pa.timestamp("us", tz="UTC")
    if name in _NUMBERS:
        return pa.float64()
    if name in _COUNTS:
        return pa.int64()
    return pa.bool_() if name in _FLAGS else pa.string()


def _for_csv(made: pa.Table) -> pa.Table:
    """Return times as ISO 8601, and text that a spreadsheet would run as a formula with a quote before it."""
    import pyarrow as pa

    columns = {}
    for field in made.schema:
        values = made.column(field.name)
        if pa.types.is_timestamp(field.type):
            values = pa.array(
                [None if one is None else one.isoformat() for one in values.to_pylist()], pa.string()
            )
        elif pa.types.is_string(field.type):
            values = pa.array([_safe(one) for one in values.to_pylist()], pa.string())
        columns[field.name] = values
    return pa.table(columns)


def _safe(text: str | None) -> str | None:
    return f"'{text}" if text and text[0] in "=+-@\t\r" else text


def _plain(value: Any) -> Any:
    return value.astimezone(UTC).isoformat() if isinstance(value, datetime) else value
