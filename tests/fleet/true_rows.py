"""The rows of a true bed, as the database holds them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, or_, select

from beadline.store.base import Base

Row = dict[str, Any]
# a bed's own tables, those that are referred to first
OWN = (
    "packings",
    "baselines",
    "bed_states",
    "traces",
    "cycles",
    "transitions",
    "judgements",
    "alerts",
    "alert_events",
    "records",
)
TABLE_OF_THING = {"packing": "packings", "trace": "traces", "cycle": "cycles", "alert": "alerts"}


@dataclass(frozen=True, slots=True)
class Life:
    """The rows of one bed by table, and those of its column and its lot."""

    rows: dict[str, list[Row]]
    column: Row
    lot: Row

    @property
    def is_ill(self) -> bool:
        """Whether there was an alert."""
        return bool(self.rows["alerts"])


def read(connection: Connection, packing: int) -> Life:
    """Read all rows of a bed."""

    def rows(name: str, column: str, values: list[int]) -> list[Row]:
        table = Base.metadata.tables[name]
        query = select(table).where(table.c[column].in_(values)).order_by(*table.primary_key)
        return [dict(row) for row in connection.execute(query).mappings()]

    def numbers(name: str, key: str = "id") -> list[int]:
        return [row[key] for row in own[name]]

    own = {
        name: rows(name, "packing_id", [packing]) for name in ("baselines", "bed_states", "cycles", "alerts")
    }
    own["packings"] = rows("packings", "id", [packing])
    own["traces"] = rows("traces", "id", numbers("cycles", "trace_id"))
    own["alert_events"] = rows("alert_events", "alert_id", numbers("alerts"))
    for name in ("transitions", "judgements"):
        own[name] = rows(name, "cycle_id", numbers("cycles"))
    record = Base.metadata.tables["records"].c
    about = [
        (record.thing == thing) & record.thing_id.in_(numbers(name)) for thing, name in TABLE_OF_THING.items()
    ]
    found = connection.execute(select(record).where(or_(*about)).order_by(record.id)).mappings()
    own["records"] = [dict(row) for row in found]
    bed = own["packings"][0]
    column, lot = (
        rows(name, "id", [bed[key]])[0] for name, key in (("columns", "column_id"), ("resin_lots", "lot_id"))
    )
    return Life(own, column, lot)
