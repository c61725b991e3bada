"""A demo plant grown large by copying rows: many beds, and one bed with many cycles."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import numpy as np
from sqlalchemy import Connection, Table, insert, select

from beadline.store.tables import BedState, Column, Cycle, Judgement, Packing, Transition

Row = dict[str, Any]


def add_beds(connection: Connection, like: int, *, to: int) -> None:
    """Copy the bed of a packing until there are so many columns."""
    packings: Any = Packing.__table__
    columns: Any = Column.__table__
    states: Any = BedState.__table__
    packing = _row(connection, packings, packings.c.id == like)
    column = _row(connection, columns, columns.c.id == packing["column_id"])
    state = _row(connection, states, states.c.packing_id == like)
    chance = np.random.default_rng(1)
    for place in range(len(connection.execute(select(columns.c.id)).all()), to):
        name = {"name": f"{column['name']} {place}", "asset_tag": f"{column['asset_tag']}-{place}"}
        new_column = _copy(connection, columns, column, name)
        new_packing = _copy(connection, packings, packing, {"column_id": new_column})
        beads = [[cycle, _moved(drift, chance), kind] for cycle, drift, kind in state["beads"]]
        connection.execute(insert(states).values(state | {"packing_id": new_packing, "beads": beads}))


def _moved(drift: float | None, chance: np.random.Generator) -> float | None:
    """Let no two beds look the same, since copies would be sent for nothing."""
    return None if drift is None else drift + float(chance.normal())


def add_cycles(connection: Connection, packing: int, *, to: int) -> None:
    """Copy the cycles of a packing, one after the other, until it has so many."""
    cycles: Any = Cycle.__table__
    states: Any = BedState.__table__
    own = connection.execute(select(cycles).where(cycles.c.packing_id == packing).order_by(cycles.c.number))
    known = [dict(row) for row in own.mappings()]
    for index in cycles.indexes:
        if index.unique and "trace_id" in index.columns:
            index.drop(connection)  # the copies share their traces, which the product refuses
    for number in range(len(known) + 1, to + 1):
        _copy_cycle(connection, known[(number - 1) % len(known)], number, known[-1]["started_at"])
    state = _row(connection, states, states.c.packing_id == packing)
    beads = state["beads"]
    many = [[number, *beads[(number - 1) % len(beads)][1:]] for number in range(1, to + 1)]
    changed = states.update().where(states.c.packing_id == packing).values(beads=many, last_cycle=to)
    connection.execute(changed)


def _copy_cycle(connection: Connection, cycle: Row, number: int, after: Any) -> None:
    times = {name: after + timedelta(hours=12 * number) for name in ("started_at", "logged_at")}
    new = _copy(connection, Cycle.__table__, cycle, {"number": number} | times)
    for table in (Transition.__table__, Judgement.__table__):
        for row in connection.execute(select(table).where(table.c.cycle_id == cycle["id"])).mappings().all():
            _copy(connection, table, row, {"cycle_id": new})


def _row(connection: Connection, table: Any, which: Any) -> Row:
    return dict(connection.execute(select(table).where(which)).mappings().one())


def _copy(connection: Connection, table: Any, row: Mapping[str, Any], changed: Row) -> int:
    assert isinstance(table, Table)
    values = {name: value for name, value in row.items() if name != "id"} | changed
    made = connection.execute(insert(table).values(values)).inserted_primary_key
    assert made is not None
    return int(made[0])
