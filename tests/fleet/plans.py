"""What a database means to do for the statements of a page: its own plans, read for whole-table scans."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Connection, Engine, event

EXPLAINED = ("SELECT", "INSERT", "UPDATE", "DELETE", "WITH")
SCANNED = re.compile(r"^SCAN (\w+?)(_\d+)?\b")
Asked = dict[str, Any]


@contextmanager
def asked(engine: Engine) -> Iterator[Asked]:
    """Gather the statements that are sent to the database, each with one set of its parameters."""
    said: Asked = {}

    def note(_connection, _cursor, statement: str, parameters: Any, _context, many: bool) -> None:
        if statement.lstrip().upper().startswith(EXPLAINED):
            said[statement] = parameters[0] if many and isinstance(parameters, list) else parameters

    event.listen(engine, "before_cursor_execute", note)
    yield said
    event.remove(engine, "before_cursor_execute", note)


def scanned(connection: Connection, statement: str, parameters: Any) -> set[str]:
    """Return the tables that a statement would read from one end to the other."""
    if connection.dialect.name == "sqlite":
        rows = connection.exec_driver_sql(f"explain query plan {statement}", parameters)
        steps = [str(row[-1]) for row in rows]
        found = {match[1] for step in steps if (match := SCANNED.match(step))}
        return set() if _stops_early(statement, steps) else found
    for way in ("seqscan", "hashjoin", "mergejoin"):  # so that indexes matter, and size does not
        connection.exec_driver_sql(f"set local enable_{way} = off")
    plan = connection.exec_driver_sql(f"explain (format json) {statement}", parameters).scalar_one()
    return set(_sequential(plan[0]["Plan"]))


def _stops_early(statement: str, steps: list[str]) -> bool:
    """Tell whether a walk along the order of a table or an index is over after a few rows."""
    passes_over = {"WHERE", "JOIN", "GROUP", "DISTINCT"} & set(statement.upper().split())
    sorts = any("TEMP B-TREE" in step for step in steps)
    return " LIMIT " in statement and not passes_over and not sorts


def _sequential(node: dict[str, Any]) -> Iterator[str]:
    if node["Node Type"] == "Seq Scan":
        yield node["Relation Name"]
    for below in node.get("Plans", ()):
        yield from _sequential(below)
