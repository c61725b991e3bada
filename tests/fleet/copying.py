"""Copy a true bed's rows under new identities, with all that refers to them."""

from __future__ import annotations

from typing import Any

import numpy as np
from sqlalchemy import Connection, Table, func, insert, select, text, update
from tests.fleet import noise, true_rows
from tests.fleet.true_rows import OWN, TABLE_OF_THING, Life, Row

from beadline.features.records import service as records
from beadline.kit import clock
from beadline.store.base import Base
from beadline.store.tables import Column, Packing, Record, ResinLot

ILL_ONE_IN = 20  # beds that are copies of one that has cracked
ON_ONE_LOT = 10
AREAS = 25
New = dict[tuple[str, int], int]


class Copier:
    """Adds beds to a database, each like one of its true beds."""

    def __init__(self, connection: Connection, *, columns: int) -> None:
        """Read the true beds, and from where on identities are free."""
        packings: Any = Packing.__table__
        record: Any = Record.__table__
        numbers = connection.scalars(select(packings.c.id).order_by(packings.c.id)).all()
        self.lives = [true_rows.read(connection, number) for number in numbers]
        self.beds = len(self.lives)
        self.columns = [life.column["id"] for life in self.lives]
        self.most_columns = columns
        self.next_id = {
            name: (connection.scalar(select(func.max(table.c.id))) or 0) + 1
            for name, table in Base.metadata.tables.items()
            if "id" in table.c
        }
        newest = select(record.c.sha256).order_by(record.c.id.desc()).limit(1)
        self.last_record = str(connection.scalar(newest))
        self.chance = np.random.default_rng(11)

    def add_bed(self, connection: Connection) -> None:
        """Add one bed with its whole life."""
        rows = self._rows(self._like())
        column, number = self._column(connection)
        rows["packings"][0] |= {"column_id": column, "number": number, "lot_id": self._lot(connection)}
        for name in OWN:
            if rows[name]:
                connection.execute(insert(Base.metadata.tables[name]), rows[name])
        self.beds += 1

    def finish(self, connection: Connection) -> None:
        """Let the database give out identities beyond those of the copies."""
        if connection.dialect.name == "sqlite":
            return
        said = text("select setval(pg_get_serial_sequence(:name, 'id'), :number, false)")
        for name, number in self.next_id.items():
            connection.execute(said, {"name": name, "number": number})

    def _new(self, table: str) -> int:
        number = self.next_id[table]
        self.next_id[table] = number + 1
        return number

    def _like(self) -> Life:
        ill = self.beds % ILL_ONE_IN == 0
        alike = [life for life in self.lives if life.is_ill == ill] or self.lives
        return alike[self.beds // 2 % len(alike)]

    def _column(self, connection: Connection) -> tuple[int, int]:
        """Return a column and its bed's number: a new one, or an older one whose bed is unpacked then."""
        place = self.beds % self.most_columns
        if place < len(self.columns):
            packings: Any = Packing.__table__
            over = (packings.c.column_id == self.columns[place]) & packings.c.unpacked_at.is_(None)
            connection.execute(update(packings).where(over).values(unpacked_at=clock.now()))
            return self.columns[place], 1 + self.beds // self.most_columns
        made = self._new("columns")
        named = {"asset_tag": f"FL-{made:05d}", "name": f"Fleet {made:05d}", "area": f"Hall {made % AREAS}"}
        _add(connection, Column.__table__, self.lives[0].column | named | {"id": made})
        self.columns.append(made)
        return made, 1

    def _lot(self, connection: Connection) -> int:
        if self.beds % ON_ONE_LOT == 0 or self.beds == len(self.lives):
            made = self._new("resin_lots")
            named = {"id": made, "lot_number": f"FL-{made}"}
            _add(connection, ResinLot.__table__, self.lives[0].lot | named)
        return self.next_id["resin_lots"] - 1

    def _rows(self, life: Life) -> dict[str, list[Row]]:
        """Return all rows of a copy; each reference is to another one of them, or to what is shared."""
        new: New = {}
        for name in OWN:
            new |= {(name, row["id"]): self._new(name) for row in life.rows[name] if "id" in row}
        return {name: [self._row(name, row, new) for row in life.rows[name]] for name in OWN}

    def _row(self, name: str, row: Row, new: New) -> Row:
        copy = dict(row)
        for column in Base.metadata.tables[name].c:
            refers = next((key.column.table.name for key in column.foreign_keys), "")
            table = name if column.name == "id" else refers
            if table:
                copy[column.name] = new.get((table, row[column.name]), row[column.name])
        noise.move(name, copy, self.chance)
        if name == "records":
            copy["thing_id"] = new[TABLE_OF_THING[row["thing"]], row["thing_id"]]
            copy["previous_sha256"] = self.last_record
            copy["sha256"] = self.last_record = records.digest(Record(**copy))
        return copy


def _add(connection: Connection, table: Any, row: Row) -> None:
    assert isinstance(table, Table)
    connection.execute(insert(table), row)
