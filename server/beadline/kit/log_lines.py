"""The log, one JSON object a line: for people who search it and for programs that collect it."""

from __future__ import annotations

import json
import logging
import re
import sys
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import TextIO

REQUEST_ID: ContextVar[str] = ContextVar("request_id", default="")
FACTS = "facts"  # the attribute of a record that holds further fields
ROW = re.compile(r"^DETAIL: .*$", re.MULTILINE)  # where PostgreSQL repeats the row that it refused


class Lines(logging.Formatter):
    """Writes what was logged as one line of JSON.

    Examples
    --------
    >>> said = {"name": "beadline", "levelname": "INFO", "msg": "began", "created": 0}
    >>> Lines().format(logging.makeLogRecord(said))
    '{"time": "1970-01-01T00:00:00.000Z", "level": "info", "logger": "beadline", "message": "began"}'
    """

    def format(self, record: logging.LogRecord) -> str:
        """Return the line; a traceback is one of its fields."""
        at = datetime.fromtimestamp(record.created, UTC)
        line = {
            "time": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": ROW.sub("", record.getMessage()),
        }
        if request_id := REQUEST_ID.get():
            line["request_id"] = request_id
        line |= getattr(record, FACTS, {})
        if record.exc_info:
            line["exception"] = ROW.sub("", self.formatException(record.exc_info))
        return json.dumps(line, ensure_ascii=False, default=str)


def begin(level: str, *, to: TextIO | None = None) -> None:
    """Write the log as lines of JSON to standard error: ours from a level on, of libraries what troubles."""
    handler = logging.StreamHandler(to or sys.stderr)
    handler.setFormatter(Lines())
    logging.basicConfig(handlers=[handler], level=logging.WARNING, force=True)
    logging.getLogger("beadline").setLevel(level.upper())
